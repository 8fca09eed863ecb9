"""What follows for one bow: expected weights, what-ifs, comparisons, what a measurement would bring."""
