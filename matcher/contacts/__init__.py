"""Contacts found by the program along a line drawn in a picture.

`matcher.contacts.profile.profile_along` takes a band along the line out of a grey image;
`matcher.contacts.finding.find_contacts` finds the row in that profile: `matcher.contacts.found.FoundRow`.
"""
