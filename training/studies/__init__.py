"""What people ask of a whole book: hands and scales, promises, two bows, what would teach most."""
