"""What to take off a kit, where and in which passes."""
