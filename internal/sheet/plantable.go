package sheet

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// marked gives each spot without a mark a letter for its kind and a number within it.
func marked(spots []Spot) []Spot {
	letters, counts := map[string]int{}, map[string]int{}
	out := make([]Spot, len(spots))
	for i, s := range spots {
		if s.Mark == "" {
			kind := s.kind()
			if _, ok := letters[kind]; !ok {
				letters[kind] = len(letters)
			}
			counts[kind]++
			s.Mark = letter(letters[kind]) + strconv.Itoa(counts[kind])
		}
		out[i] = s
	}
	return out
}

// kind is the same for spots that are made alike.
func (s Spot) kind() string { return s.Name + "\x00" + s.Size }

// letter counts A, B, … Z, AA, AB, …
func letter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return letter(i/26-1) + letter(i%26)
}

const (
	tableStepMM  = 4.0 // between rows
	tableTextMM  = 1.9 // height of capitals
	wordsStepMM  = 3.3 // between the lines of a description
	wordsTextMM  = 1.7
	mostWordRows = 6 // lines of one description
)

// tableX is the left edge of the table.
func (d *Drawing) tableX() float64 {
	_, _, x1, _ := d.frame()
	return x1 - labelRoomMM + 2
}

// table lists the spots with their places from zero, and below how each kind is made. It gives the
// paper y of its end. Rows that do not fit are counted in a last line, never dropped unseen.
func (d *Drawing) table(spots []Spot, zero r2.Vec) float64 {
	_, y0, x1, y1 := d.frame()
	if len(spots) == 0 {
		return y0
	}
	x, y, last := d.tableX(), y0+6, y1-4
	row := func(h float64, bold bool, cells ...string) {
		for i, dx := range []float64{0, 21, 33, 36}[:len(cells)] {
			t := Text{Words: cells[i], HeightMM: h, Bold: bold, At: r2.Vec{X: x + dx, Y: y}}
			if i == 1 || i == 2 {
				t.Anchor = End
				d.Text(t.shortened(12))
				continue
			}
			d.Text(t.shortened(x1 - 2 - t.At.X))
		}
	}
	row(tableTextMM, true, "", "x mm", "y mm", "what")
	for i, s := range spots {
		y += tableStepMM
		if y+tableStepMM > last && i < len(spots)-1 {
			row(tableTextMM, false, fmt.Sprintf("and %d more", len(spots)-i))
			return y
		}
		row(tableTextMM, false, s.Mark, mm(s.At.X-zero.X), mm(s.At.Y-zero.Y), s.Name)
	}
	y += tableStepMM
	row(wordsTextMM, false, "x, y from the lower left corner")
	for _, words := range descriptions(spots) {
		lines := Text{Words: words, HeightMM: wordsTextMM}.lines(x1-2-x, mostWordRows)
		if y+1.5+float64(len(lines))*wordsStepMM > last {
			y += wordsStepMM
			row(wordsTextMM, false, "more in the report")
			return y
		}
		y += 1.5
		for _, l := range lines {
			y += wordsStepMM
			row(wordsTextMM, false, l)
		}
	}
	return y
}

// descriptions says for each way of making which marks are made so.
func descriptions(spots []Spot) []string {
	var sizes []string
	marks := map[string][]string{}
	for _, s := range spots {
		if s.Size == "" {
			continue
		}
		if marks[s.Size] == nil {
			sizes = append(sizes, s.Size)
		}
		marks[s.Size] = append(marks[s.Size], s.Mark)
	}
	out := make([]string, len(sizes))
	for i, size := range sizes {
		out[i] = strings.Join(marks[size], " ") + ": " + size
	}
	return out
}

// lines breaks a text at spaces to lines of at most maxMM; what goes beyond most lines ends in an
// ellipsis.
func (t Text) lines(maxMM float64, most int) []string {
	var out []string
	words := strings.Fields(t.Words)
	for len(words) > 0 {
		n := 1
		for n < len(words) {
			t.Words = strings.Join(words[:n+1], " ")
			if t.WidthMM() > maxMM {
				break
			}
			n++
		}
		if len(out) == most-1 && n < len(words) {
			t.Words = strings.Join(words[:n], " ") + " …"
			return append(out, t.shortened(maxMM).Words)
		}
		t.Words = strings.Join(words[:n], " ")
		out, words = append(out, t.shortened(maxMM).Words), words[n:]
	}
	return out
}
