"""Everything that touches disk, database, network, scheduler or terminal."""
