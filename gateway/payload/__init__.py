"""Topic and bytes in, readings or a rejection with its reason out. The one door to msgspec."""
