"""The commands of `drawweight`, by what a bowyer does; each reads what was typed, calls one thing and prints."""
