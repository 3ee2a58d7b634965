package job

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// writer collects the names of what it writes into one folder.
type writer struct {
	dir   string
	files []string
}

func (w *writer) path(name string) (string, error) {
	p := filepath.Join(w.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		return "", fmt.Errorf("write results: %w", err)
	}
	w.files = append(w.files, name)
	return p, nil
}

func (w *writer) model(name string, objects ...mesh.Object) error {
	p, err := w.path(name)
	if err != nil {
		return err
	}
	return meshfile.Save(p, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: objects})
}

func (w *writer) file(name string, content func(io.Writer) error) error {
	p, err := w.path(name)
	if err != nil {
		return err
	}
	return atomicfile.Write(p, content)
}

func (w *writer) picture(name string, img image.Image) error {
	return w.file(name, func(f io.Writer) error { return png.Encode(f, img) })
}

// writeMould writes everything about a good mould and puts it in place of out/.
func writeMould(ctx context.Context, folder string, f *File, m *tooling.Mould, rep *Report, progress func(float64)) error {
	return swapOut(folder, func(dir string) error {
		w := &writer{dir: dir}
		for _, step := range []struct {
			share float64
			do    func() error
		}{
			{0, func() error { return writePieces(w, m) }},
			{0.3, func() error { return writePictures(ctx, w, m) }},
			{0.7, func() error { return writeDrawings(ctx, w, f, m, rep) }},
		} {
			if err := ctx.Err(); err != nil {
				return err
			}
			progress(step.share)
			if err := step.do(); err != nil {
				return err
			}
		}
		rep.Files = append(w.files, "report.txt", "report.json")
		return writeReport(dir, rep)
	})
}

// slug turns a piece's name into a file name.
func slug(name string) string { return strings.ReplaceAll(name, " ", "-") }

// writePieces writes the closed mould with its casting, and each piece turned for printing.
func writePieces(w *writer, m *tooling.Mould) error {
	var all []mesh.Object
	for _, p := range m.Pieces {
		all = append(all, mesh.Object{Name: p.Name, Mesh: p.Mesh})
	}
	all = append(all, mesh.Object{Name: "casting", Mesh: m.Cast})
	if err := w.model("mould.3mf", all...); err != nil {
		return err
	}
	for _, p := range m.Pieces {
		o := mesh.Object{Name: p.Name, Mesh: forPrint(p)}
		for _, ext := range []string{".3mf", ".stl"} {
			if err := w.model("pieces/"+slug(p.Name)+ext, o); err != nil {
				return err
			}
		}
	}
	return nil
}

// forPrint lays a piece on its outer face, the cavity up, with its corner at the origin. Turning over
// is a change of signs, so it costs no precision; the shift is rounded to binary fractions of a
// thousandth of a millimetre for the same reason.
func forPrint(p tooling.Piece) *mesh.Mesh {
	m := p.Mesh
	if p.Exit.Z > 0 {
		m = m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} })
	}
	lo := m.Bounds().Min
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Sub(v, lo) })
}

func writePictures(ctx context.Context, w *writer, m *tooling.Mould) error {
	for i, p := range m.Pieces {
		img, err := sheet.Picture(ctx, []sheet.Shown{{Name: p.Name, Mesh: forPrint(p), Colour: sheet.Palette[i%len(sheet.Palette)]}}, sheet.View{})
		if err != nil {
			return err
		}
		if err := w.picture("pictures/"+slug(p.Name)+".png", img); err != nil {
			return err
		}
	}
	leaving := []sheet.Leaving{{Name: "casting", Mesh: m.Cast, Colour: sheet.Palette[2]}}
	for i, p := range m.Pieces {
		leaving = append(leaving, sheet.Leaving{Name: p.Name, Mesh: p.Mesh, Exit: p.Exit, Colour: sheet.Palette[i%2]})
	}
	img, err := sheet.Picture(ctx, sheet.Exploded(leaving, 15), sheet.View{})
	if err != nil {
		return err
	}
	return w.picture("pictures/open-mould.png", img)
}

// writeDrawings draws the two sections and the plan, as SVG each and as one PDF.
func writeDrawings(ctx context.Context, w *writer, f *File, m *tooling.Mould, rep *Report) error {
	paper, err := sheet.PaperByName(paperName(f))
	if err != nil {
		return err
	}
	note := ""
	if rep.Shot != nil {
		note = rep.Shot.Name
	}
	head := func(subject, sheetNo string) sheet.Head {
		return sheet.Head{Title: rep.Part.Name, Subject: subject, Note: note, Sheet: sheetNo}
	}
	var pieces []sheet.Piece
	for _, p := range m.Pieces {
		pieces = append(pieces, sheet.Piece{Name: p.Name, Mesh: p.Mesh})
	}
	through := sectionPoint(m)
	var pages []*sheet.Drawing
	for i, s := range []struct {
		file, subject string
		plane         sheet.Plane
	}{
		{"section-x", fmt.Sprintf("section along x at y = %.1f mm", through.Y), sheet.Plane{Origin: through, U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}}},
		{"section-y", fmt.Sprintf("section along y at x = %.1f mm", through.X), sheet.Plane{Origin: through, U: r3.Vec{Y: 1}, V: r3.Vec{Z: 1}}},
	} {
		d, err := sheet.SectionDrawing(ctx, pieces, s.plane, sheet.SectionOptions{Paper: paper, Head: head(s.subject, fmt.Sprintf("%d / 3", i+1)),
			Part: m.Cast, Labels: featureLabels(m)})
		if err != nil {
			return err
		}
		pages = append(pages, d)
		if err := w.file("drawings/"+s.file+".svg", d.WriteSVG); err != nil {
			return err
		}
	}
	plan, err := sheet.PlanDrawing(planOptions(m, paper, head("parting surface from above", "3 / 3")))
	if err != nil {
		return err
	}
	if err := w.file("drawings/plan.svg", plan.WriteSVG); err != nil {
		return err
	}
	return w.file("drawings.pdf", func(f io.Writer) error { return sheet.WritePDF(f, append(pages, plan)...) })
}

func paperName(f *File) string {
	if f.Drawing.Paper == "" {
		return "A4"
	}
	return f.Drawing.Paper
}

// sectionPoint is where the two section planes cross: through the sprue, so that both show it.
func sectionPoint(m *tooling.Mould) r3.Vec {
	for _, q := range m.Features {
		if q.Kind == "sprue" {
			return r3.Vec{X: q.At.X, Y: q.At.Y}
		}
	}
	c := r3.Scale(0.5, r3.Add(m.Block.Min, m.Block.Max))
	return r3.Vec{X: c.X, Y: c.Y}
}

func featureLabels(m *tooling.Mould) (out []sheet.Label) {
	for _, q := range m.Features {
		if q.Kind == "label" {
			continue
		}
		out = append(out, sheet.Label{Words: q.Name + " " + q.Kind, At: q.At})
	}
	return out
}

func planOptions(m *tooling.Mould, paper sheet.Paper, head sheet.Head) sheet.PlanOptions {
	lo, hi := m.Block.Min, m.Block.Max
	o := sheet.PlanOptions{Paper: paper, Head: head,
		Block:   []r2.Vec{{X: lo.X, Y: lo.Y}, {X: hi.X, Y: lo.Y}, {X: hi.X, Y: hi.Y}, {X: lo.X, Y: hi.Y}},
		Parting: sheet.Outline{Name: "parting line", Loops: m.Shadow}}
	for _, q := range m.Features {
		d := 0.0
		for _, s := range q.SizesMM {
			if strings.Contains(s.Name, "diameter") || s.Name == "hole" {
				d = math.Max(d, s.MM)
			}
		}
		if d == 0 || q.Kind == "label" {
			continue
		}
		o.Spots = append(o.Spots, sheet.Spot{Name: q.Name + " " + q.Kind, Size: q.Words, At: r2.Vec{X: q.At.X, Y: q.At.Y}, DiameterMM: d})
	}
	return o
}

func mouldReport(m *tooling.Mould) *MouldReport {
	r := &MouldReport{Family: m.Family, BlockMM: array(m.Block.Size()), Scale: array(m.Place.Scale), LineMM: m.LineMM, LineLoops: len(m.Line),
		LineOnShowMM: m.LineOnShowMM, SurfaceFlat: m.Surface.Flat, SteepestDeg: m.Surface.SteepestDeg, Opening: m.Opening.Words()}
	for _, p := range m.Pieces {
		r.Pieces = append(r.Pieces, PieceReport{Name: p.Name, Facets: len(p.Mesh.Tris), VolumeMM3: p.VolumeMM3, SizeMM: array(p.Mesh.Bounds().Size()), Exit: array(p.Exit)})
	}
	for _, q := range m.Features {
		r.Features = append(r.Features, FeatureReport{Name: q.Name, Kind: q.Kind, Piece: q.Piece, AtMM: array(q.At), Words: q.Words})
	}
	for _, l := range m.Ledger {
		r.Ledger = append(r.Ledger, LedgerReport(l))
	}
	for _, c := range m.Checks {
		q := CheckReport{Name: c.Name, OK: c.OK, Limit: c.Limit, Unit: c.Unit, Words: c.Words}
		if !math.IsInf(c.Value, 0) && !math.IsNaN(c.Value) {
			v := c.Value
			q.Value = &v
		}
		r.Checks = append(r.Checks, q)
	}
	return r
}
