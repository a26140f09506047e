"""YAML text with line numbers in, checked models out, and every problem in the file told in one go.

Stands to the right of `circuit` and to the left of `solve`. Nothing is imported here: reading YAML costs
time at start-up that a verb without a file should not pay.
"""
