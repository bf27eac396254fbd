"""The camera and places in the room: notes and landmarks in, cameras and plan positions out."""
