package sheet

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"image/color"
	"io"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// WriteSVG writes the sheet as SVG, one user unit to the mm. Texts carry the length they were laid
// out with, so that a viewer without the font keeps them in their place.
func (d *Drawing) WriteSVG(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s">`+"\n",
		num(d.Paper.WidthMM), num(d.Paper.HeightMM), num(d.Paper.WidthMM), num(d.Paper.HeightMM))
	fmt.Fprintf(b, "<title>%s</title>\n", escape(d.Title))
	fmt.Fprintf(b, `<rect width="100%%" height="100%%" fill="#ffffff"/>`+"\n")
	for _, it := range d.items {
		switch it := it.(type) {
		case stroke:
			fmt.Fprintf(b, `<path d="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round" stroke-linecap="butt"%s/>`+"\n",
				pathData(it.closed, it.pts), hex(it.pen.Colour), num(it.pen.WidthMM), dashes(it.pen.DashMM))
		case fill:
			fmt.Fprintf(b, `<path d="%s" fill="%s" fill-rule="evenodd"/>`+"\n", pathData(true, it.loops...), hex(it.colour))
		case raster:
			fmt.Fprintf(b, `<image x="%s" y="%s" width="%s" height="%s" href="%s"/>`+"\n", num(it.at.X), num(it.at.Y), num(it.wide), num(it.height), it.uri())
		case Text:
			writeText(b, it)
		}
	}
	fmt.Fprintln(b, "</svg>")
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write SVG: %w", err)
	}
	return nil
}

func writeText(b *bufio.Writer, t Text) {
	weight, turn := "", ""
	if t.Bold {
		weight = ` font-weight="bold"`
	}
	if t.Up {
		turn = fmt.Sprintf(` transform="rotate(-90 %s %s)"`, num(t.At.X), num(t.At.Y))
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" font-family="Go, Helvetica, Arial, sans-serif" font-size="%s" text-anchor="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"%s%s>%s</text>`+"\n",
		num(t.At.X), num(t.At.Y), num(t.emMM()), [...]string{"start", "middle", "end"}[t.Anchor], num(t.WidthMM()), weight, turn, escape(t.Words))
}

func pathData(closed bool, loops ...[]r2.Vec) string {
	var b strings.Builder
	for _, loop := range loops {
		for i, p := range loop {
			cmd := "L"
			if i == 0 {
				cmd = "M"
			}
			b.WriteString(cmd + num(p.X) + " " + num(p.Y))
		}
		if closed {
			b.WriteString("Z")
		}
	}
	return b.String()
}

// num is a length to the µm, in the shortest form.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

func dashes(d []float64) string {
	if len(d) == 0 {
		return ""
	}
	words := make([]string, len(d))
	for i, v := range d {
		words[i] = num(v)
	}
	return ` stroke-dasharray="` + strings.Join(words, " ") + `"`
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder does not fail
	return b.String()
}
