package solid

import (
	"errors"

	"mouldwright/internal/mesh"
)

// FromMesh makes a solid of a closed, outward-facing mesh. Vertices are shared by index, not by
// position; coordinates keep every bit. The error is a *MeshError when m fails Validate.
func (k *Kernel) FromMesh(m *mesh.Mesh) (*Solid, error) {
	if err := Validate(m); err != nil {
		return nil, err
	}
	return k.fromValid(m)
}

// The binding takes 32-bit positions, and merges what lies closer than those can tell. So the body
// is built from scattered stand-ins that encode the vertex number, and then each stand-in, wherever
// the library has moved it, is replaced with the exact position. The number sits in x, scrambled by
// an odd multiplier modulo 2^24 (the integers that a 32-bit float holds exactly) so that neighbours
// are far apart; y and z come from a 64-bit mixer so that no three are in line.
const (
	keyMask    = maxVertices - 1
	keyMul     = 0x9E3779
	keyInverse = 0xB382C9 // keyMul * keyInverse = 1 modulo 2^24
)

func standIn(i int) (x, y, z float32) {
	n := uint64(i)
	s := (n + 1) * 0x9E3779B97F4A7C15
	s = (s ^ s>>30) * 0xBF58476D1CE4E5B9
	s ^= s >> 31
	return float32(n * keyMul & keyMask), float32(s & keyMask), float32(s >> 24 & keyMask)
}

func standInNumber(x float64) uint64 { return uint64(x) * keyInverse & keyMask }

func (k *Kernel) fromValid(m *mesh.Mesh) (*Solid, error) {
	keys := make([]float32, 3*len(m.Verts))
	for i := range m.Verts {
		keys[3*i], keys[3*i+1], keys[3*i+2] = standIn(i)
	}
	tris := make([]uint32, 0, 3*len(m.Tris))
	for _, t := range m.Tris {
		tris = append(tris, t[0], t[1], t[2])
	}
	return k.build("take in a mesh", func(h *host) (address, error) {
		raw := h.construct(clsManifold, object{"numProp": 3.0, "triVerts": tris, "vertProperties": keys, "tolerance": 0.0})
		defer h.destroy(clsManifold, raw)
		if st, _ := h.method(clsManifold, "status", raw).(string); st != "NoError" {
			return 0, StatusError(st)
		}
		placed := k.in.warped(h, raw, func(b []byte) {
			for ; len(b) >= sizeVec3; b = b[sizeVec3:] {
				putVec3(b, m.Verts[standInNumber(float(b))])
			}
		})
		defer h.destroy(clsManifold, placed)
		// The tolerance was derived from the stand-ins in 32 bits: lower it to the library's least,
		// about 1e-12 of the size. asOriginal recomputes what else was derived from positions.
		fine := h.method(clsManifold, "setTolerance", placed, 0.0).(address)
		defer h.destroy(clsManifold, fine)
		return h.method(clsManifold, "asOriginal", fine).(address), nil
	})
}

// Mesh returns the solid's facets, with vertices in full precision: no facets for an empty solid.
func (s *Solid) Mesh() (*mesh.Mesh, error) {
	m := &mesh.Mesh{}
	if s == nil {
		return nil, ErrFreed
	}
	err := s.k.do("read out a mesh", func(h *host) error {
		if err := s.usable(s.k); err != nil {
			return err
		}
		o, ok := h.method(clsManifold, "_GetMeshJS", s.a, -1.0).(object)
		if !ok {
			fail("no mesh")
		}
		tris, _ := o["triVerts"].([]uint32)
		m.Tris = make([][3]uint32, len(tris)/3)
		for i := range m.Tris {
			m.Tris[i] = [3]uint32(tris[3*i:])
		}
		rounded, _ := o["vertProperties"].([]float32)
		readPositions(h, s.a, m)
		return sameOrder(m, rounded, int(number(o["numProp"])))
	})
	if err != nil {
		return nil, err
	}
	return m, nil
}

// readPositions reads the 64-bit vertices; the library's mesh has them in 32 bits.
func readPositions(h *host, a address, m *mesh.Mesh) {
	v := h.construct(clsPoints3)
	defer h.destroy(clsPoints3, v)
	h.function("_manifoldCollectVertices", v, a)
	b := vectorBytes(h.mod.Memory(), uint32(v))
	for ; len(b) >= sizeVec3; b = b[sizeVec3:] {
		m.Verts = append(m.Verts, getVec3(b))
	}
}

// sameOrder checks that the two lists of vertices, read separately, correspond.
func sameOrder(m *mesh.Mesh, rounded []float32, stride int) error {
	if len(m.Tris) == 0 {
		m.Verts = nil
		return nil
	}
	if stride < 3 || len(rounded) != stride*len(m.Verts) {
		return errors.New("the kernel's mesh and its vertices differ in number")
	}
	for i, v := range m.Verts {
		if r := rounded[stride*i:]; float32(v.X) != r[0] || float32(v.Y) != r[1] || float32(v.Z) != r[2] {
			return errors.New("the kernel's mesh and its vertices differ in order")
		}
	}
	return nil
}
