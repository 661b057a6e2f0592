"""Makes this folder importable, so that every room's tests share the invented plans."""
