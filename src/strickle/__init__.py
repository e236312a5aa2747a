"""strickle: from a part's mesh to a sand mould you can pour."""

__version__ = "0.1.0"
