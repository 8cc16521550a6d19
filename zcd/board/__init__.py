"""What the technician describes: quantities, file schema, parts library, the board."""
