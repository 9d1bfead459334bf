"""Coverage of constructions drawn back onto photographs: ``python -m tests.by_hand.photo_lines 150 [first seed]``.

Seed k makes scene k of Dunlin: three photographs, marks with noise, the right side and the marked joints off.
"""

import sys

from tests.photo_lines_coverage import run

if __name__ == "__main__":
    many, first = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    places, centres, heights = run("dunlin", range(first, first + many))
    print(f"{many} scenes: {100 * places:.1f} % of the lines' places inside their bands, {100 * centres:.1f} % of the ")
    print(f"roll centres inside their ellipses, {100 * heights:.1f} % of their heights inside their intervals")
