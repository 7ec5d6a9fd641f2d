"""What is wrong, who must be told, and whether they were: limits, alarms, notices, delivery."""
