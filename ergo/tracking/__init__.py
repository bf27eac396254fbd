"""People found in pictures, told apart and followed: crops in, tracks out."""
