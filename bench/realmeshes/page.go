package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"strings"

	"mouldwright/bench/corpus"
)

// row is a specimen with all that was found out about it.
type row struct {
	corpus.Specimen
	measures
	Outcome
}

const pageHead = `# Real meshes

Meshes that nobody here wrote, taken through mouldwright. Made by

    go run ./bench/realmeshes -o docs/realmeshes.md

from the Debian package assimp-testmodels and the npm packages in bench/realmeshes/package.json.
"read" marks files read by mouldwright's own readers, "by assimp" those that the assimp command
turned into STL first, "npm" meshes held or made by an npm package. Each object is welded exactly and
split into shells; closed shells with positive volume are kept, at most %d a file, one of each form.
Factor is mm per unit of the file: 1 where the longest side is 20 to 60 units, else what brings it to
about 40 mm. Facets and volume are those of the mesh as binary STL holds it, by us and by admesh.

`

// writePage writes the whole page.
func writePage(w io.Writer, rows []row, tallies []corpus.Tally) {
	fmt.Fprintf(w, pageHead, corpus.ShellsPerSource)
	writeSummary(w, rows)
	line(w, "Mesh", "Source", "Factor", "Facets", "admesh", "Volume, mm³", "admesh, mm³", "Difference", "Proven as", "Opens along", "Notes")
	line(w, "---", "---", "---:", "---:", "---:", "---:", "---:", "---:", "---", "---", "---")
	for _, r := range rows {
		line(w, r.Name, r.By.String(), fmt.Sprintf("%g", r.Factor), fmt.Sprint(r.Facets), fmt.Sprint(r.AdmeshFacets),
			fmt.Sprintf("%.2f", r.VolumeMM3), fmt.Sprintf("%.2f", r.AdmeshMM3), fmt.Sprintf("%.1e", math.Abs(r.difference())),
			cmp.Or(r.family(), "none"), r.direction(), r.notes())
	}
	fmt.Fprint(w, "\n## What was left out\n\nShells of each file that are not above.\n\n")
	line(w, "File", "Shells", "Open or not manifold", "Inside out", "Same form as one above", "Over the number a file may fill")
	line(w, "---", "---", "---", "---", "---", "---")
	for _, t := range tallies {
		if t.Open+t.InsideOut+t.Same+t.Over > 0 {
			line(w, t.Source.Path, fmt.Sprint(t.Shells), fmt.Sprint(t.Open), fmt.Sprint(t.InsideOut), fmt.Sprint(t.Same), fmt.Sprint(t.Over))
		}
	}
}

// direction is that of the mould that is proven.
func (o *Outcome) direction() string {
	switch {
	case o.Verdict == provenMould:
		return o.Direction
	case o.Others != nil:
		return o.Others.Direction
	}
	return ""
}

// notes say what a mould had to do without, or why the simpler ways, or all, fail.
func (o *Outcome) notes() string {
	if o.Verdict == provenMould || o.Others == nil {
		return o.Reason
	}
	why := twoHalves + ", along " + o.Direction + ": " + o.Reason
	for _, r := range o.Others.Reasons {
		if !strings.HasPrefix(r, twoHalves+":") {
			why += "; " + r
		}
	}
	if o.Others.Note != "" {
		why = o.Others.Note + "; " + why
	}
	return why
}

// writeSummary counts what the table shows.
func writeSummary(w io.Writer, rows []row) {
	worst, unusable, none := 0.0, 0, 0
	count := map[string]int{}
	var names []string
	for i := range rows {
		r := &rows[i]
		worst = max(worst, math.Abs(r.difference()))
		switch name := r.family(); {
		case r.Unusable:
			unusable++
		case name == "":
			none++
		default:
			if count[name] == 0 {
				names = append(names, name)
			}
			count[name]++
		}
	}
	fmt.Fprintf(w, "%d meshes. Volumes differ from admesh's by at most %.1e of the volume.\n\n", len(rows), worst)
	line(w, "Proven as", "Meshes")
	line(w, "---", "---:")
	for _, name := range names {
		line(w, name, fmt.Sprint(count[name]))
	}
	line(w, "none: the notes give a reason for each way", fmt.Sprint(none))
	line(w, "none: the mesh is not fit for any mould", fmt.Sprint(unusable))
	fmt.Fprint(w, `
Two rigid halves come first. A mesh for which they are refused goes through the same comparison as
"mouldwright compare", with a rigid casting: the other ways are built in the order in which it ranks them,
until one passes all checks of its builder. "Clamped" moulds go without bolts, for want of room or because
they are higher than the longest standard screw; "3 mm sprue" ones have no room for the default of 5 mm.

`)
}

// line writes a row of a Markdown table.
func line(w io.Writer, cells ...string) {
	for i, c := range cells {
		cells[i] = strings.ReplaceAll(strings.Join(strings.Fields(c), " "), "|", "\\|")
	}
	fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | "))
}
