package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/prose"
)

// printInspection prints the part, what is wrong with it, and how it would leave a mould.
func printInspection(w io.Writer, v *inspection) {
	printPart(w, &v.Part)
	printProblems(w, v.Problems)
	if len(v.Directions) > 0 {
		printDirections(w, v.Directions)
	}
	if v.Judged != nil {
		printJudged(w, v.Judged)
	}
}

func printPart(w io.Writer, p *partView) {
	table(w, func(w io.Writer) {
		row := func(name, format string, args ...any) { fmt.Fprintf(w, "%s\t%s\n", name, fmt.Sprintf(format, args...)) }
		row("Part", "%s", p.File)
		if p.Object != "" {
			row("Object", "%s", p.Object)
		}
		from := "from the file"
		if !p.UnitKnown {
			from = "taken as given; the file names none"
		}
		row("Unit", "%s, %s", p.Unit, from)
		row("Size", "%s × %s × %s mm", number(p.SizeMM[0], 3), number(p.SizeMM[1], 3), number(p.SizeMM[2], 3))
		if p.VolumeMM3 != nil {
			row("Volume", "%s mL", number(*p.VolumeMM3/1000, 3))
		} else {
			row("Volume", "unknown, the surface is open")
		}
		row("Surface", "%s mm²", number(p.AreaMM2, 1))
		if p.ShowMM2 > 0 {
			row("Show faces", "%s mm²", number(p.ShowMM2, 1))
		}
		row("Facets", "%d in %s, %d vertices", p.Facets, count(p.Shells, "shell"), p.Vertices)
		if p.Closed {
			row("Handles", "%d", p.Handles)
		}
		if p.Joined > 0 || p.Dropped > 0 {
			row("Tidied", "%s joined, %s dropped; the shape is the same", count(p.Joined, "coincident vertex"), count(p.Dropped, "facet of no area"))
		}
		for _, n := range p.Notes {
			row("Note", "%s", n)
		}
	})
}

func printProblems(w io.Writer, ps []problemView) {
	if len(ps) == 0 {
		fmt.Fprintln(w, "\nThe surface is sound.")
		return
	}
	fmt.Fprintln(w, "\nFindings")
	for _, p := range ps {
		fmt.Fprintf(w, "  - %s\n", prose.Wrap(p.Severity+": "+p.Words, "    "))
		if len(p.Places) > 0 {
			fmt.Fprintf(w, "    first at (%s) mm", point(vec(p.Places[0].AtMM), 3))
			if f := p.Places[0].Facets; len(f) > 0 {
				fmt.Fprintf(w, ", facet %d", f[0])
			}
			fmt.Fprintln(w)
		}
		if p.Remedy != "" {
			fmt.Fprintf(w, "    %s\n", prose.Wrap(p.Remedy, "    "))
		}
	}
}

func printJudged(w io.Writer, j *judgedView) {
	fmt.Fprintf(w, "\nOpening along (%s)\n", point(vec(j.Direction), 4))
	table(w, func(w io.Writer) {
		row := func(name, format string, args ...any) {
			fmt.Fprintf(w, "  %s\t%s\n", name, fmt.Sprintf(format, args...))
		}
		row("Height", "%s mm", number(j.HeightMM, 3))
		row("Shadow", "%s mm²", number(j.ProjectedMM2, 1))
		row("Parting line", "about %s mm", number(j.PartingMM, 0))
		row("Least draft", "%s° (asked for: %s°)", number(j.MinDraftDeg, 2), number(j.AskedDraftDeg, 2))
		row("Undercut", "%s mm² in %s, to within %s mm", number(j.UndercutMM2, 2), count(len(j.Undercuts), "place"), number(j.ToleranceMM, 4))
	})
	if len(j.Undercuts) > 0 {
		fmt.Fprintln(w, "\nUndercuts")
		printUndercuts(w, j.Undercuts)
	}
	fmt.Fprintln(w, "\nSurface by draft")
	table(w, func(w io.Writer) {
		for _, c := range j.DraftClasses {
			fmt.Fprintf(w, "  %s\t%s mm²\n", c.Name, number(c.AreaMM2, 1))
		}
	})
	fmt.Fprintln(w)
	switch {
	case !j.RigidHalvesOpen:
		fmt.Fprintln(w, "Two rigid halves would lock on this part when they open this way.")
	case j.MinDraftDeg < j.AskedDraftDeg:
		fmt.Fprintln(w, "No undercut: two rigid halves can open this way, but walls with little draft will drag.")
	default:
		fmt.Fprintln(w, "No undercut: two rigid halves can open this way.")
	}
}

// listedUndercuts bounds what text prints; JSON has them all.
const listedUndercuts = 10

func printUndercuts(w io.Writer, us []undercutView) {
	table(w, func(w io.Writer) {
		fmt.Fprintln(w, "  AREA\tDEPTH\tTRAPPED\tHELD\tMIDDLE, mm")
		for i, u := range us {
			if i == listedUndercuts {
				fmt.Fprintf(w, "  and %d more; --json lists them all\n", len(us)-i)
				return
			}
			depth := "sealed in"
			if u.DepthMM != nil {
				depth = fmt.Sprintf("%s ± %s mm", number(*u.DepthMM, 2), number(u.DepthErrorMM, 2))
			}
			fmt.Fprintf(w, "  %s mm²\t%s\t%s mm³\t%s\t%s\n", number(u.AreaMM2, 2), depth, number(u.VolumeMM3, 1), u.Holds, point(vec(u.AtMM), 2))
		}
	})
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	switch noun {
	case "coincident vertex":
		noun = "coincident vertices"
	case "facet of no area":
		noun = "facets of no area"
	default:
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}
