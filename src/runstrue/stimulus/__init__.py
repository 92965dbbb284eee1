"""Test signals and test tapes: declared, described, made into samples."""
