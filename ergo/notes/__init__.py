"""What the user states beside the pictures: TOML in, validated notes out."""
