"""From points clicked in a picture to features with uncertainty.

Points are (x, y) in pixels, x to the right, y downwards, pixel centres at whole numbers. Nothing here reads an image.
"""
