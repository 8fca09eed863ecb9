"""How far predictions can be trusted: scores of builds left out, rivals, one who knows the shop."""
