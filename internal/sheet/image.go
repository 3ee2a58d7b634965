package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"

	"github.com/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"
)

// raster is a picture on a sheet.
type raster struct {
	data   []byte
	kind   string // media type
	at     r2.Vec // upper left corner, mm
	wide   float64
	height float64
}

// Image puts a PNG or JPEG picture on the sheet, its upper left corner at a place, with a width and a height
// in mm.
func (d *Drawing) Image(data []byte, at r2.Vec, wideMM, highMM float64) error {
	kind := http.DetectContentType(data)
	if kind != "image/png" && kind != "image/jpeg" {
		return fmt.Errorf("the picture is %s; use PNG or JPEG", kind)
	}
	d.items = append(d.items, raster{data, kind, at, wideMM, highMM})
	return nil
}

func drawImage(p *fpdf.Fpdf, r raster) {
	opt := fpdf.ImageOptions{ImageType: map[string]string{"image/png": "PNG", "image/jpeg": "JPG"}[r.kind]}
	name := fmt.Sprintf("%x", sha256.Sum256(r.data))
	p.RegisterImageOptionsReader(name, opt, bytes.NewReader(r.data))
	p.ImageOptions(name, r.at.X, r.at.Y, r.wide, r.height, false, opt, 0, "")
}

// uri is the picture inside an address.
func (r raster) uri() string {
	return "data:" + r.kind + ";base64," + base64.StdEncoding.EncodeToString(r.data)
}
