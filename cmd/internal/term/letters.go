package term

import "strings"

// Letters of our own, drawn with half blocks: a dot is one column wide and half a
// row high, or two columns and a row, so that it is about square. A row of a
// laptop's terminal of 24 rows is some 8 mm high, so even the small numerals are 20
// mm high, where a reader two metres away needs 10 mm (1/200 of the distance: FAA
// rule, as quoted in human factors handbooks).

// letters are 7 dots high.
var letters = map[rune]string{
	'A': ".###. #...# #...# ##### #...# #...# #...#",
	'B': "####. #...# #...# ####. #...# #...# ####.",
	'C': ".#### #.... #.... #.... #.... #.... .####",
	'D': "####. #...# #...# #...# #...# #...# ####.",
	'E': "##### #.... #.... ####. #.... #.... #####",
	'F': "##### #.... #.... ####. #.... #.... #....",
	'G': ".#### #.... #.... #.### #...# #...# .####",
	'H': "#...# #...# #...# ##### #...# #...# #...#",
	'I': "### .#. .#. .#. .#. .#. ###",
	'J': "...## ....# ....# ....# #...# #...# .###.",
	'K': "#...# #..#. #.#.. ##... #.#.. #..#. #...#",
	'L': "#.... #.... #.... #.... #.... #.... #####",
	'M': "#...# ##.## #.#.# #.#.# #...# #...# #...#",
	'N': "#...# ##..# ##..# #.#.# #..## #..## #...#",
	'O': ".###. #...# #...# #...# #...# #...# .###.",
	'P': "####. #...# #...# ####. #.... #.... #....",
	'Q': ".###. #...# #...# #...# #.#.# #..#. .##.#",
	'R': "####. #...# #...# ####. #.#.. #..#. #...#",
	'S': ".#### #.... #.... .###. ....# ....# ####.",
	'T': "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
	'U': "#...# #...# #...# #...# #...# #...# .###.",
	'V': "#...# #...# #...# #...# .#.#. .#.#. ..#..",
	'W': "#...# #...# #...# #.#.# #.#.# ##.## #...#",
	'X': "#...# #...# .#.#. ..#.. .#.#. #...# #...#",
	'Y': "#...# #...# .#.#. ..#.. ..#.. ..#.. ..#..",
	'Z': "##### ....# ...#. ..#.. .#... #.... #####",
	'0': ".###. #...# #..## #.#.# ##..# #...# .###.",
	'1': "..#.. .##.. ..#.. ..#.. ..#.. ..#.. .###.",
	'2': ".###. #...# ....# ..##. .#... #.... #####",
	'3': "####. ....# ....# .###. ....# ....# ####.",
	'4': "#..#. #..#. #..#. ##### ...#. ...#. ...#.",
	'5': "##### #.... ####. ....# ....# #...# .###.",
	'6': ".###. #.... #.... ####. #...# #...# .###.",
	'7': "##### ....# ...#. ..#.. ..#.. .#... .#...",
	'8': ".###. #...# #...# .###. #...# #...# .###.",
	'9': ".###. #...# #...# .#### ....# ....# .###.",
}

// numerals are 5 dots high.
var numerals = map[rune]string{
	'0': "### #.# #.# #.# ###",
	'1': ".#. ##. .#. .#. ###",
	'2': "### ..# ### #.. ###",
	'3': "### ..# .## ..# ###",
	'4': "#.# #.# ### ..# ..#",
	'5': "### #.. ### ..# ###",
	'6': "### #.. ### #.# ###",
	'7': "### ..# .#. .#. .#.",
	'8': "### #.# ### #.# ###",
	'9': "### #.# ### ..# ###",
	'.': ". . . . #",
	'+': "... .#. ### .#. ...",
	'-': "... ... ### ... ...",
}

// dots turns a text into rows of dots, height of them; what the set does not have
// is a gap.
func dots(set map[rune]string, height int, text string) []string {
	rows := make([]string, height)
	for i, r := range text {
		glyph := strings.Fields(set[r])
		for y := range rows {
			if i > 0 {
				rows[y] += "."
			}
			if len(glyph) == 0 {
				rows[y] += ".."
				continue
			}
			rows[y] += glyph[y]
		}
	}
	return rows
}

// large writes dots at x, y in big dots (two columns by one row) or small ones (one
// column by half a row) and returns how many columns and rows they take.
func (c *canvas) large(x, y int, rows []string, big bool, style cell) (w, h int) {
	if len(rows) == 0 {
		return 0, 0
	}
	on := func(dx, dy int) bool { return dy < len(rows) && rows[dy][dx] == '#' }
	put := func(x, y int, r rune) {
		p := c.at(x, y)
		*p = style
		p.r = r
	}
	for dx := range rows[0] {
		if big {
			for dy := range rows {
				if on(dx, dy) {
					put(x+2*dx, y+dy, '█')
					put(x+2*dx+1, y+dy, '█')
				}
			}
			continue
		}
		for dy := 0; dy < len(rows); dy += 2 {
			switch upper, lower := on(dx, dy), on(dx, dy+1); {
			case upper && lower:
				put(x+dx, y+dy/2, '█')
			case upper:
				put(x+dx, y+dy/2, '▀')
			case lower:
				put(x+dx, y+dy/2, '▄')
			}
		}
	}
	if big {
		return 2 * len(rows[0]), len(rows)
	}
	return len(rows[0]), (len(rows) + 1) / 2
}
