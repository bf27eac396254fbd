"""Angles and place: pose tracks and cameras in, a posture track and a clock track out. Pure."""
