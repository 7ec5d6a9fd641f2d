"""A fictional jobsite with its own physics: weather, steel, air train, sensors and their faults.

It shares nothing with the gateway, so an error in one cannot hide in the other.
"""
