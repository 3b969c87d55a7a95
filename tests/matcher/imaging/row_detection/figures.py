"""``python -m tests.matcher.imaging.row_detection.figures 1000`` prints the figures for 1000 pictures of the tests'
family of seeds. A number after it selects another family of seeds; ``harsh`` selects the harsh pictures, ``camera``
those in the look that no tuning has seen, with its own family."""

from __future__ import annotations

import sys

import numpy as np

from tests.matcher.imaging.row_detection.camera_rows import camera_picture
from tests.matcher.imaging.row_detection.rendered_rows import Rendered, drawn_difficulty, rendered
from tests.matcher.imaging.row_detection.test_found_contacts import FAMILY, UNSEEN, by_difficulty, outcome_of


def picture(number: int, *, family: int, kind: str) -> Rendered:
    """One picture of a family of seeds and a kind: usual, harsh or camera."""
    if kind == "camera":
        return camera_picture(family, number)
    rng = np.random.default_rng([family, 1, number] if kind == "harsh" else [family, number])
    return rendered(rng, drawn_difficulty(rng, harsh=kind == "harsh"))


def main(images: int, *, family: int, kind: str) -> None:
    """Print the shares, and wrong counts by difficulty."""
    outcomes = [outcome_of(picture(number, family=family, kind=kind)) for number in range(images)]
    found = [one for one in outcomes if one.row is not None]
    wrong = [one for one in found if not one.right]
    print(f"refused {images - len(found)}, right {np.mean([one.right for one in outcomes]):.4f}")
    print(f"pitch held {np.mean([one.held for one in found]):.4f} of those found")
    print(f"wrong {len(wrong)}, of these unsure {sum(not one.row.sure for one in wrong if one.row)}")
    print(f"sure of the right {np.mean([one.row.sure for one in found if one.right and one.row]):.4f}")
    print(by_difficulty(outcomes))


if __name__ == "__main__":
    kind = next((word for word in sys.argv[2:] if word in ("harsh", "camera")), "usual")
    families = [int(word) for word in sys.argv[2:] if word != kind]
    main(int(sys.argv[1]), family=families[0] if families else UNSEEN if kind == "camera" else FAMILY, kind=kind)
