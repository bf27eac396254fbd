"""The 33 landmarks of the MediaPipe Pose topology, in its order.

Source: Bazarevsky V et al. (2020), BlazePose: on-device real-time body pose
tracking, arXiv:2006.10204 (topology figure); names as in the model card.
*Left* and *right* are the person's own.
"""

LANDMARKS = (
    "nose",
    "eye_inner_left",
    "eye_left",
    "eye_outer_left",
    "eye_inner_right",
    "eye_right",
    "eye_outer_right",
    "ear_left",
    "ear_right",
    "mouth_left",
    "mouth_right",
    "shoulder_left",
    "shoulder_right",
    "elbow_left",
    "elbow_right",
    "wrist_left",
    "wrist_right",
    "pinky_left",
    "pinky_right",
    "index_left",
    "index_right",
    "thumb_left",
    "thumb_right",
    "hip_left",
    "hip_right",
    "knee_left",
    "knee_right",
    "ankle_left",
    "ankle_right",
    "heel_left",
    "heel_right",
    "toe_left",
    "toe_right",
)

INDEX = {name: position for position, name in enumerate(LANDMARKS)}
