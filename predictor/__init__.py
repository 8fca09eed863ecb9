"""What is believed: beam statics, features of a bow, prediction."""
