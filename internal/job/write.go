package job

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"path/filepath"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"
)

func (r *results) model(name string, objects ...mesh.Object) error {
	path := filepath.Join(r.dir, filepath.FromSlash(name))
	if err := r.disk.makeFolder(filepath.Dir(path)); err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	r.files = append(r.files, name)
	return meshfile.SaveFS(r.disk.fs(), path, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: objects})
}

func (r *results) picture(name string, img image.Image) error {
	return r.add(name, func(f io.Writer) error { return png.Encode(f, img) })
}

// writeMould writes everything about a good mould and puts it in place of out/.
func writeMould(ctx context.Context, out *results, f *File, m *tooling.Mould, rep *Report, view sheet.View, progress func(float64)) error {
	for _, step := range []struct {
		share float64
		do    func() error
	}{
		{0, func() error { return writePieces(out, m) }},
		{0.3, func() error { return writePictures(ctx, out, m, view) }},
		{0.7, func() error { return writeDrawings(ctx, out, f, m, rep) }},
	} {
		if err := ctx.Err(); err != nil {
			return err
		}
		progress(step.share)
		if err := step.do(); err != nil {
			return err
		}
	}
	return out.report(rep)
}

// slug turns a piece's name into a file name.
func slug(name string) string { return strings.ReplaceAll(name, " ", "-") }

// writePieces writes the closed mould with its casting, and each printed piece turned for printing.
func writePieces(out *results, m *tooling.Mould) error {
	if err := writeClosed(out, "mould.3mf", m); err != nil {
		return err
	}
	return writePrints(out, m.Pieces)
}

func writeClosed(out *results, name string, m *tooling.Mould) error {
	var all []mesh.Object
	for _, p := range m.Pieces {
		all = append(all, mesh.Object{Name: p.Name, Mesh: p.Mesh})
	}
	if m.Cast != nil {
		all = append(all, mesh.Object{Name: "casting", Mesh: m.Cast})
	}
	return out.model(name, all...)
}

func writePrints(out *results, pieces []tooling.Piece) error {
	for _, p := range pieces {
		o := mesh.Object{Name: p.Name, Mesh: p.LaidDown()}
		for _, ext := range []string{".3mf", ".stl"} {
			if err := out.model("pieces/"+slug(p.Name)+ext, o); err != nil {
				return err
			}
		}
	}
	return nil
}

// pieceColour tells the pieces of one mould apart; the palette's third colour is the casting's.
func pieceColour(i int) color.RGBA {
	colours := []int{0, 1, 3, 4}
	return sheet.Palette[colours[i%len(colours)]]
}

func writePictures(ctx context.Context, out *results, m *tooling.Mould, view sheet.View) error {
	for i, p := range m.Pieces {
		img, err := sheet.Picture(ctx, []sheet.Shown{{Name: p.Name, Mesh: p.LaidDown(), Colour: pieceColour(i)}}, view)
		if err != nil {
			return err
		}
		if err := out.picture("pictures/"+slug(p.Name)+".png", img); err != nil {
			return err
		}
	}
	leaving := []sheet.Leaving{{Name: "casting", Mesh: m.Cast, Colour: sheet.Palette[2]}}
	for i, p := range m.Pieces {
		leaving = append(leaving, sheet.Leaving{Name: p.Name, Mesh: p.Mesh, Exit: p.Exit, Colour: pieceColour(i)})
	}
	img, err := sheet.Picture(ctx, sheet.Exploded(leaving, 15), view)
	if err != nil {
		return err
	}
	return out.picture("pictures/open-mould.png", img)
}
