"""WHAT AND WHEN: rules over tables. Reads and writes nothing but its own vocabulary."""
