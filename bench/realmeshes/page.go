package main

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// row is a specimen with all that was found out about it.
type row struct {
	specimen
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
Factor is the power of ten, in mm per unit of the file, that brings the longest side to 20 mm or more,
below 200 mm. Facets and volume are those of the mesh as binary STL holds it, by us and by admesh.

`

// writePage writes the whole page.
func writePage(w io.Writer, rows []row, tallies []tally) {
	fmt.Fprintf(w, pageHead, shellsPerSource)
	writeSummary(w, rows)
	judged := runJob != nil
	header := []string{"Mesh", "Source", "Factor", "Facets", "admesh", "Volume, mm³", "admesh, mm³", "Difference"}
	if judged {
		header = append(header, "Direction", "Verdict", "Reason")
	}
	line(w, header...)
	line(w, strings.Split(strings.Repeat("---,", len(header)-1)+"---", ",")...)
	for _, r := range rows {
		cells := []string{r.Name, r.By.String(), fmt.Sprintf("%g", r.Factor),
			fmt.Sprint(r.Facets), fmt.Sprint(r.AdmeshFacets),
			fmt.Sprintf("%.2f", r.VolumeMM3), fmt.Sprintf("%.2f", r.AdmeshMM3), fmt.Sprintf("%.1e", math.Abs(r.difference()))}
		if judged {
			cells = append(cells, r.Direction, r.Verdict, r.Reason)
		}
		line(w, cells...)
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

// writeSummary counts what the table shows.
func writeSummary(w io.Writer, rows []row) {
	worst, proven := 0.0, 0
	for _, r := range rows {
		worst = max(worst, math.Abs(r.difference()))
		if r.Verdict == provenMould {
			proven++
		}
	}
	fmt.Fprintf(w, "%d meshes. Volumes differ from admesh's by at most %.1e of the volume.", len(rows), worst)
	if runJob != nil {
		fmt.Fprintf(w, " %d end in a proven mould, %d in a reason why not.", proven, len(rows)-proven)
	}
	fmt.Fprint(w, "\n\n")
}

// line writes a row of a Markdown table.
func line(w io.Writer, cells ...string) {
	for i, c := range cells {
		cells[i] = strings.ReplaceAll(strings.Join(strings.Fields(c), " "), "|", "\\|")
	}
	fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | "))
}
