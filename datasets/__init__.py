"""What was measured: records, bench notation, the shop's book, materials."""
