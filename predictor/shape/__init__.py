"""The unstrung shape of a limb from readings off a straight edge."""
