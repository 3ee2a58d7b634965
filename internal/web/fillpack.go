package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
)

type fillMeta struct {
	Up       [3]float64 `json:"up" doc:"Against gravity, in the mould frame"`
	TotalMM3 float64    `json:"total_mm3"`
	Facets   int        `json:"facets"`
}

// packFill packs how the mould of a job's last run fills.
func (s *Server) packFill(ctx context.Context, id string) (tagged, error) {
	f, err := s.work.outFile(id, job.WettingFile)
	if err != nil {
		return tagged{}, fmt.Errorf("how it fills is not worked out: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return tagged{}, fmt.Errorf("read how it fills: %w", err)
	}
	return s.fills.of(ctx, id, fileTag(info), func() ([]byte, error) { return packWetting(f) })
}

// packWetting packs the casting's surface, and for each of its corners the share of the pour at which the
// resin comes there, −1 where air stays.
func packWetting(f io.Reader) ([]byte, error) {
	var w job.Wetting
	if err := json.NewDecoder(io.LimitReader(f, mostWettingBytes)).Decode(&w); err != nil {
		return nil, fmt.Errorf("read how it fills: %w; build the mould again", err)
	}
	if len(w.Corners) != len(w.PouredMM3) || !(w.TotalMM3 > 0) {
		return nil, fmt.Errorf("%s is damaged; build the mould again", job.WettingFile)
	}
	p := &pack{Meta: fillMeta{w.Up, w.TotalMM3, len(w.Facets)}}
	positions, wet, corners := make([]float32, 0, 3*len(w.Corners)), make([]float32, len(w.Corners)), make([]uint32, 0, 3*len(w.Facets))
	for i, c := range w.Corners {
		positions = append(positions, float32(c[0]), float32(c[1]), float32(c[2]))
		wet[i] = float32(w.PouredMM3[i] / w.TotalMM3)
		if w.PouredMM3[i] < 0 {
			wet[i] = fill.Dry
		}
	}
	for _, t := range w.Facets {
		for _, v := range t {
			if int(v) >= len(w.Corners) {
				return nil, fmt.Errorf("%s is damaged; build the mould again", job.WettingFile)
			}
			corners = append(corners, v)
		}
	}
	add(p, "positions", positions)
	add(p, "corners", corners)
	add(p, "wet", wet)
	return p.bytes()
}

// mostWettingBytes is ten times what a fill of the most facets takes.
const mostWettingBytes = 64 << 20
