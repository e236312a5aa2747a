"""Compiled kernels: bare floats and arrays, SI. They import nothing of ours."""
