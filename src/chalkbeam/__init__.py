"""Chalkbeam: tailor's chalk made of light."""
