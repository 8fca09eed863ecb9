"""What is believed of materials, shops and bows, and how readings change it."""
