"""Contacts found by the program along a line drawn in a picture.

`matcher.imaging.row_detection.profile.profile_along` takes a band along the line out of a grey image;
`matcher.imaging.row_detection.detection.find_contacts` finds the row in that profile:
`matcher.imaging.row_detection.detection.FoundRow`.
"""
