package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func someJudgement() *judgement {
	depth := 0.0 // a depth of nothing is not the same as none
	return &judgement{Direction: [3]float64{0, 0, 1}, Opens: true, MinDraft: 1.25, Candidates: []candidateView{}, Undercuts: []undercutView{{AreaMM2: 2, DepthMM: &depth}, {Sealed: true}},
		facets: facetMarks{[]int16{-9000, 1, 300}, []uint8{0, 1, 3}, []uint16{0, 2, 65535}}, loops: [][]r3.Vec{{{X: 1. / 3}, {Y: 1e-17}}, {{Z: -2}}}}
}

// A judgement comes back as it was, to the last bit.
func TestKeptJudgement(t *testing.T) {
	var b bytes.Buffer
	j := someJudgement()
	if err := j.write(&b, "scene", "decisions"); err != nil {
		t.Fatal(err)
	}
	m, err := readJudgement(b.Bytes(), 3)
	if err != nil || m.Scene != "scene" || m.Decisions != "decisions" || !reflect.DeepEqual(m.Judgement, j) {
		t.Errorf("%+v, %v", m, err)
	}
	if _, err := readJudgement(b.Bytes(), 4); !errors.Is(err, errNoPack) {
		t.Error("a judgement of another part is taken:", err)
	}
	for n := range b.Len() {
		if _, err := readJudgement(b.Bytes()[:n], 3); err == nil && n < b.Len()-8 { // the last array is padded
			t.Fatalf("cut to %d of %d bytes it is taken", n, b.Len())
		}
	}
}

// Packs come from a database that others write to.
func FuzzUnpacked(f *testing.F) {
	var b bytes.Buffer
	if err := someJudgement().write(&b, "", ""); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(packMagic + "\xff\xff\xff\xff{}"))
	head := `{"meta":{"facets":3,"judgement":{}},"arrays":[{"name":"draft","type":"i16","at":9223372036854775807,"count":3}]}`
	f.Add(append(binary.LittleEndian.AppendUint32([]byte(packMagic), uint32(len(head))), head...))
	f.Fuzz(func(t *testing.T, b []byte) {
		if m, err := readJudgement(b, 3); err == nil && len(m.Judgement.facets.draft) != 3 {
			t.Error("a judgement without its facets")
		}
	})
}
