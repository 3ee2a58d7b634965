package main

import (
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// cutLeansDeg are the angles between the way out and the normal of the cut; beyond 90° the cut itself is in
// the way, near it by very little.
var cutLeansDeg = []float64{0, 20, 60, 85, 89.7, 90.3, 93, 120}

// cutInTwo cuts specimens with a plane and moves what lies over the cut off the rest.
func cutInTwo(k *solid.Kernel, m *maker, count int) (out []pair, err error) {
	for len(out) < count {
		s := m.take()
		n := m.direction()
		low, high := span(s.Mesh, n)
		body, err := k.FromMesh(s.Mesh)
		if err != nil {
			return nil, err
		}
		above, below, err := splitMeshes(body, n, low+(0.3+0.4*m.rnd.Float64())*(high-low))
		if err != nil {
			return nil, err
		}
		lean := cutLeansDeg[len(out)%len(cutLeansDeg)]
		out = append(out, pair{Kind: "cut in two", Name: s.Name, Moving: above, Fixed: below, D: m.tilted(n, lean), Barely: lean > 89 && lean < 91})
	}
	return out, nil
}

// plugs sinks one specimen into another and pulls out what they have in common.
func plugs(k *solid.Kernel, m *maker, count int) (out []pair, err error) {
	for len(out) < count {
		a, b := m.take(), m.specimens[m.rnd.IntN(len(m.specimens))]
		d := m.direction()
		_, top := span(a.Mesh, d)
		low, high := span(b.Mesh, d)
		// The plug's middle comes over the other's, so deep that it is sunk by a part of its height.
		at := r3.Sub(middle(a.Mesh), middle(b.Mesh))
		at = r3.Add(at, r3.Scale(top-(low+(0.2+0.5*m.rnd.Float64())*(high-low))-r3.Dot(at, d), d))
		plug := shifted(b.Mesh, at)
		body, err := k.FromMesh(a.Mesh)
		if err != nil {
			return nil, err
		}
		tool, err := k.FromMesh(plug)
		if err != nil {
			return nil, err
		}
		rest, err := body.Subtract(tool)
		if err != nil {
			return nil, err
		}
		fixed, err := rest.Mesh()
		if err != nil {
			return nil, err
		}
		if both, err := body.Intersect(tool); err != nil {
			return nil, err
		} else if v, err := both.VolumeMM3(); err != nil || v < 1 || len(fixed.Tris) == 0 {
			if err != nil {
				return nil, err
			}
			continue // they pass each other by
		}
		out = append(out, pair{Kind: "plug", Name: b.Name + " out of " + a.Name, Moving: plug, Fixed: fixed, D: d})
	}
	return out, nil
}
