"""The rental yard's own process: takes in the journals of many sites and shows how they stand."""
