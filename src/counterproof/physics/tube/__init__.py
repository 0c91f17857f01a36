"""From a field to counts: the tube as physics."""
