"""Letters that can be read from the drums, five rows high."""

HIGH = 5

_DRAWN = """
A    B    C    D    E    F    G    H    I    J    K     L    M      N     O
.#.  ##.  .##  ##.  ###  ###  .##  #.#  ###  ..#  #..#  #..  ##.##  ##.#  .##.
#.#  #.#  #..  #.#  #..  #..  #..  #.#  .#.  ..#  #.#.  #..  ##.##  ##.#  #..#
###  ##.  #..  #.#  ##.  ##.  #.#  ###  .#.  ..#  ##..  #..  #.#.#  #.##  #..#
#.#  #.#  #..  #.#  #..  #..  #.#  #.#  .#.  #.#  #.#.  #..  #...#  #..#  #..#
#.#  ##.  .##  ##.  ###  #..  .##  #.#  ###  .#.  #..#  ###  #...#  #..#  .##.

P    Q     R    S    T    U    V    W      X    Y    Z    &     >    <    =
##.  .##.  ##.  .##  ###  #.#  #.#  #...#  #.#  #.#  ###  .##.  #..  ..#  ...
#.#  #..#  #.#  #..  .#.  #.#  #.#  #...#  #.#  #.#  ..#  #...  .#.  .#.  ###
##.  #..#  ##.  .#.  .#.  #.#  #.#  #.#.#  .#.  .#.  .#.  .#.#  ..#  #..  ...
#..  #.##  #.#  ..#  .#.  #.#  #.#  #.#.#  #.#  .#.  #..  #.#.  .#.  .#.  ###
#..  .###  #.#  ##.  .#.  ###  .#.  .#.#.  #.#  .#.  ###  .#.#  #..  ..#  ...

a    b    d    e    g    i  j   l  m      n    o    r    s    t    u    x    z
...  #..  ..#  ...  .##  #  .#  #  .....  ...  ...  ...  ...  .#.  ...  ...  ...
.##  #..  ..#  .#.  #.#  .  ..  #  .....  ...  ###  .##  .##  ###  #.#  ...  ###
#.#  ##.  .##  ###  .##  #  .#  #  ##.#.  ##.  #.#  #..  .#.  .#.  #.#  #.#  ..#
#.#  #.#  #.#  #..  ..#  #  .#  #  #.#.#  #.#  #.#  #..  ..#  .#.  #.#  .#.  .#.
.##  ##.  .##  .##  ##.  #  #.  #  #.#.#  #.#  ###  #..  ##.  .##  .##  #.#  ###

0    1   2    3    4    5    6    7    8    9    #      +    -    /    (   )   .  ,   :
###  .#  ##.  ##.  #.#  ###  .##  ###  .#.  .#.  .#.#.  ...  ...  ..#  .#  #.  .  ..  .
#.#  ##  ..#  ..#  #.#  #..  #..  ..#  #.#  #.#  #####  .#.  ...  ..#  #.  .#  .  ..  #
#.#  .#  .#.  .#.  ###  ##.  ##.  .#.  .#.  .##  .#.#.  ###  ###  .#.  #.  .#  .  ..  .
#.#  .#  #..  ..#  ..#  ..#  #.#  .#.  #.#  ..#  #####  .#.  ...  #..  #.  .#  .  .#  #
###  .#  ###  ##.  ..#  ##.  .#.  .#.  .#.  ##.  .#.#.  ...  ...  #..  .#  #.  #  #.  .
"""
_LETTERS = {" ": [".."] * HIGH} | {
    letter: rows
    for block in _DRAWN.split("\n\n")
    for letter, *rows in zip(*map(str.split, block.strip().splitlines()), strict=True)
}


def large(text: str, width: int, most: int = 2) -> list[str]:
    """The text in large letters as rows of "#" and spaces, as wide as there is room; [] where
    there is no room, or no letter for one of its letters.

    most: how many columns a dot is wide at most.
    """
    if not text or not _LETTERS.keys() >= {*text}:
        return []
    letters = (_LETTERS[letter] for letter in text)
    rows = [" ".join(row).replace(".", " ") for row in zip(*letters, strict=True)]
    wide = most if most * len(rows[0]) <= width else 1
    if wide * len(rows[0]) > width:
        return []
    return ["".join(pixel * wide for pixel in row) for row in rows]
