// Package prose prints sentences and lists as plain text for a terminal, broken at spaces.
//
//	w := &prose.Writer{W: os.Stdout}
//	w.Line("Mind")
//	w.Item("The pot life is a rule of thumb: time a test mix.")
//	return w.Err
package prose

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"
)

// Width is where sentences break, in letters: it suits a terminal of 100 columns.
const Width = 96

// Wrap breaks a sentence at spaces into lines of at most Width letters, each but the first after indent. A
// word that is longer stays whole.
func Wrap(s, indent string) string {
	var b strings.Builder
	start := utf8.RuneCountInString(indent)
	col := start
	for i, word := range strings.Fields(s) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case col+1+n > Width:
			b.WriteString("\n" + indent)
			col = start
		default:
			b.WriteByte(' ')
			col++
		}
		b.WriteString(word)
		col += n
	}
	return b.String()
}

// Writer remembers the first error of W, so that printing need not check each line.
type Writer struct {
	W   io.Writer
	Err error
}

// Write implements io.Writer; after an error it writes nothing more.
func (w *Writer) Write(b []byte) (int, error) {
	if w.Err != nil {
		return 0, w.Err
	}
	n, err := w.W.Write(b)
	w.Err = err
	return n, err
}

// Line prints one line.
func (w *Writer) Line(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }

// Item prints an item of a list; the further lines of s stand in by two more.
func (w *Writer) Item(s string) {
	for i, line := range strings.Split(s, "\n") {
		if i == 0 {
			w.Line("  - %s", Wrap(line, "    "))
		} else {
			w.Line("    %s", Wrap(line, "      "))
		}
	}
}

// Table lays out rows in columns two spaces apart; cells are separated by tabs.
func (w *Writer) Table(fill func(row func(format string, args ...any))) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fill(func(format string, args ...any) { fmt.Fprintf(t, format+"\n", args...) })
	_ = t.Flush() // Err holds what went wrong
}
