package prose

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// No word is lost or moved, no line with more than one word is too long, and every further line follows the
// indent.
func TestWrap(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := strings.Join(rapid.SliceOf(rapid.StringMatching(`[a-zäß·°]{1,120}`)).Draw(r, "words"), " ")
		indent := strings.Repeat(" ", rapid.IntRange(0, 12).Draw(r, "indent"))
		got := Wrap(s, indent)
		if strings.Join(strings.Fields(got), " ") != s {
			r.Fatalf("%q became %q", s, got)
		}
		for i, line := range strings.Split(got, "\n") {
			if i > 0 && !strings.HasPrefix(line, indent) {
				r.Fatalf("%q lacks its indent", line)
			}
			if i == 0 {
				line = indent + line
			}
			if utf8.RuneCountInString(line) > Width && len(strings.Fields(line)) > 1 {
				r.Fatalf("%q is too long", line)
			}
		}
	})
}

type full struct{ left int }

func (f *full) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, errors.New("full")
	}
	return len(b), nil
}

func TestWriterKeepsTheFirstError(t *testing.T) {
	w := &Writer{W: &full{8}}
	for range 5 {
		w.Line("four")
	}
	if w.Err == nil || w.Err.Error() != "full" {
		t.Errorf("%v", w.Err)
	}
	var b bytes.Buffer
	w = &Writer{W: &b}
	w.Item("one\ntwo")
	w.Table(func(row func(string, ...any)) { row("a\tb"); row("ccc\td") })
	if got := b.String(); got != "  - one\n    two\na    b\nccc  d\n" || w.Err != nil {
		t.Errorf("%q", got)
	}
}
