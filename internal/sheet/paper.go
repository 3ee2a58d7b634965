package sheet

import (
	"fmt"
	"strings"
)

// Paper is a sheet size. The zero value stands for A4 on its long side.
type Paper struct {
	Name              string
	WidthMM, HeightMM float64
}

// Sheet sizes of ISO 216, and the letter sheet of ANSI/ASME Y14.1, on their long side unless the
// name says otherwise.
var (
	A4        = Paper{"A4", 297, 210}
	A4Upright = Paper{"A4", 210, 297}
	A3        = Paper{"A3", 420, 297}
	Letter    = Paper{"Letter", 279.4, 215.9}
)

// PaperByName finds a sheet size by "A4", "A4-upright", "A3" or "Letter", in any case of letters.
func PaperByName(name string) (Paper, error) {
	switch strings.ToLower(name) {
	case "", "a4":
		return A4, nil
	case "a4-upright":
		return A4Upright, nil
	case "a3":
		return A3, nil
	case "letter":
		return Letter, nil
	}
	return Paper{}, fmt.Errorf("no paper %q; use A4, A4-upright, A3 or Letter", name)
}

// Margins of the frame: ISO 5457 leaves 20 mm on the left for filing and 10 mm elsewhere.
const (
	marginLeftMM = 20
	marginMM     = 10
)

// scales are those of ISO 5455, from large to small: 1, 2 and 5 times the powers of ten.
var scales = []scale{
	{50, 1}, {20, 1}, {10, 1}, {5, 1}, {2, 1}, {1, 1},
	{1, 2}, {1, 5}, {1, 10}, {1, 20}, {1, 50}, {1, 100}, {1, 200}, {1, 500}, {1, 1000},
}

// scale is paper mm : real mm.
type scale struct{ paper, real int }

func (s scale) String() string  { return fmt.Sprintf("%d:%d", s.paper, s.real) }
func (s scale) factor() float64 { return float64(s.paper) / float64(s.real) }

// fitScale is the largest standard scale at which w × h real mm fit into the room on paper.
func fitScale(wMM, hMM, roomW, roomH float64) (scale, error) {
	for _, s := range scales {
		if wMM*s.factor() <= roomW && hMM*s.factor() <= roomH {
			return s, nil
		}
	}
	return scale{}, fmt.Errorf("%.4g × %.4g mm does not fit the sheet even at %s", wMM, hMM, scales[len(scales)-1])
}
