#!/usr/bin/env python3
"""Draws the icon of Stillroom: the lid unrolled into a rule, five lashes on it, the middle one in pencil.

One geometry gives static/icon.svg and every PNG beside it, so that they cannot drift apart. Needs Python alone.
Run from anywhere: python3 tests/look/icons.py
"""

import math
import struct
import zlib
from pathlib import Path

STATIC = Path(__file__).resolve().parents[2] / "static"

# The tokens of the bright light in static/app.css.
PAPER, INK, PENCIL = (0xED, 0xF1, 0xEA), (0x15, 0x20, 0x2B), (0x51, 0x27, 0x8A)

# On a square of 512: the lid is a straight rule, and each lash stands on it like a mark and leans a little outwards.
# (foot on the rule, height, lean of the tip, width, colour)
RULE = ((64, 388), (448, 388), 30, INK)
LASHES = [
    (108, 146, -34, 24, INK),
    (180, 214, -22, 26, INK),
    (256, 262, 0, 34, PENCIL),
    (332, 214, 22, 26, INK),
    (404, 146, 34, 24, INK),
]


def strokes():
    """Every stroke as (points, width, colour), from the back to the front."""
    drawn = []
    for foot, height, lean, width, colour in LASHES:
        root, tip = (foot, RULE[0][1]), (foot + lean, RULE[0][1] - height)
        middle = (foot + lean * 0.1, RULE[0][1] - height * 0.55)
        # A quadratic curve from root, towards middle, to tip.
        curve = []
        for step in range(13):
            t = step / 12
            curve.append(tuple((1 - t) ** 2 * a + 2 * (1 - t) * t * b + t * t * c for a, b, c in zip(root, middle, tip)))
        drawn.append((curve, width, colour))
    return drawn + [([RULE[0], RULE[1]], *RULE[2:])]


def placed(size, shrink):
    """The strokes on a square of `size`, drawn smaller around the middle where the edge may be cut off."""
    scale = size / 512 * shrink
    move = size / 2 * (1 - shrink)
    # Its own middle lies a little below the square's.
    return [
        ([(x * scale + move, (y - 8) * scale + move) for x, y in points], width * scale, colour)
        for points, width, colour in strokes()
    ]


def distance(px, py, a, b):
    """From a point to the piece of line between a and b."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    along = max(0.0, min(1.0, ((px - a[0]) * dx + (py - a[1]) * dy) / (dx * dx + dy * dy)))
    return math.hypot(px - a[0] - along * dx, py - a[1] - along * dy)


def picture(size, shrink=1.0):
    """The pixels of the icon, row by row; edges softened over one pixel."""
    ground = [[PAPER] * size for _ in range(size)]
    for points, width, colour in placed(size, shrink):
        pieces = list(zip(points, points[1:]))
        reach = width / 2 + 1
        left, right = min(x for x, _ in points) - reach, max(x for x, _ in points) + reach
        top, bottom = min(y for _, y in points) - reach, max(y for _, y in points) + reach
        for y in range(max(0, int(top)), min(size, int(bottom) + 1)):
            for x in range(max(0, int(left)), min(size, int(right) + 1)):
                cover = width / 2 + 0.5 - min(distance(x + 0.5, y + 0.5, a, b) for a, b in pieces)
                if cover >= 1:
                    ground[y][x] = colour
                elif cover > 0:
                    ground[y][x] = tuple(round(g + (c - g) * cover) for g, c in zip(ground[y][x], colour))
    return ground


def write_png(name, pixels):
    size = len(pixels)

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    raw = b"".join(b"\0" + bytes(value for pixel in row for value in pixel) for row in pixels)
    head = struct.pack(">IIBBBBB", size, size, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw, 9)) + chunk(b"IEND", b"")
    (STATIC / name).write_bytes(b"\x89PNG\r\n\x1a\n" + body)


def write_svg(name):
    colour = lambda rgb: "#%02x%02x%02x" % rgb
    lines = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 512 512">',
        f'<rect width="512" height="512" rx="36" fill="{colour(PAPER)}"/>',
        '<g fill="none" stroke-linecap="round" stroke-linejoin="round">',
    ]
    for points, width, rgb in placed(512, 1.0):
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        lines.append(f'<path stroke="{colour(rgb)}" stroke-width="{width:g}" d="{path}"/>')
    (STATIC / name).write_text("\n".join(lines + ["</g>", "</svg>", ""]))


if __name__ == "__main__":
    write_svg("icon.svg")
    write_png("favicon.png", picture(32))
    for size in (192, 512):
        write_png(f"icon-{size}.png", picture(size))
        write_png(f"icon-maskable-{size}.png", picture(size, shrink=0.72))
