package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/stl"
)

// measures are facets and volume by us and by admesh, both of the mesh as binary STL holds it
// (32-bit floats).
type measures struct {
	Facets, AdmeshFacets   int
	VolumeMM3, AdmeshMM3   float64
	Disconnected, Reversed int // facets that admesh found unconnected, or turned over
}

// difference is the relative difference of the two volumes.
func (m measures) difference() float64 { return m.AdmeshMM3/m.VolumeMM3 - 1 }

// agreement is the relative difference up to which the volumes agree (acceptance of the job).
const agreement = 1e-5

var (
	admeshFacets       = regexp.MustCompile(`(?m)^Number of facets\s*:\s*(\d+)\s+(\d+)`)
	admeshDisconnected = regexp.MustCompile(`(?m)^Total disconnected facets\s*:\s*(\d+)\s+(\d+)`)
	admeshReversed     = regexp.MustCompile(`(?m)^Facets reversed\s*:\s*(\d+)`)
	admeshVolume       = regexp.MustCompile(`Volume\s*:\s*(\S+)`)
)

// compare writes the mesh as STL, measures what it reads back, and has admesh measure the file.
// admesh works the normals out again itself (--normal-values), since its volume rests on them.
func compare(ctx context.Context, m *mesh.Mesh, dir string) (measures, error) {
	var file bytes.Buffer
	if err := stl.Write(&file, m, "specimen"); err != nil {
		return measures{}, err
	}
	path := filepath.Join(dir, "specimen.stl")
	if err := os.WriteFile(path, file.Bytes(), 0o644); err != nil {
		return measures{}, err
	}
	back, err := stl.Read(&file, mesh.Limits{})
	if err != nil {
		return measures{}, fmt.Errorf("cannot read back what was written: %w", err)
	}
	ours := back.Merge()
	out, err := exec.CommandContext(ctx, "admesh", "--exact", "--normal-directions", "--normal-values", path).Output()
	if err != nil {
		return measures{}, fmt.Errorf("admesh %s: %w", path, err)
	}
	got := measures{Facets: len(ours.Tris), VolumeMM3: ours.VolumeMM3()}
	return got, got.parse(out)
}

// parse fills in what admesh printed.
func (m *measures) parse(out []byte) error {
	for _, field := range []struct {
		pattern *regexp.Regexp
		group   int
		set     func(x float64)
	}{
		{admeshFacets, 2, func(x float64) { m.AdmeshFacets = int(x) }},
		{admeshDisconnected, 1, func(x float64) { m.Disconnected = int(x) }},
		{admeshReversed, 1, func(x float64) { m.Reversed = int(x) }},
		{admeshVolume, 1, func(x float64) { m.AdmeshMM3 = x }},
	} {
		found := field.pattern.FindSubmatch(out)
		if found == nil {
			return fmt.Errorf("admesh printed nothing that matches %q", field.pattern)
		}
		x, err := strconv.ParseFloat(string(found[field.group]), 64)
		if err != nil {
			return fmt.Errorf("admesh printed %q for %q: %w", found[field.group], field.pattern, err)
		}
		field.set(x)
	}
	return nil
}
