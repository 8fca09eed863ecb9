"""From the book to a model: evidence, the shop's ways, scores."""
