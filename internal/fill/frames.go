package fill

// Frame is the state of a fill at one moment, for pictures: the columns with the resin's height in
// each.
type Frame struct {
	PouredMM3 float64
	FloorMM   float64 // lowest point of the cavity in the frame
	cols      *columns
	surface   []float32
	air       []bool // the run's air is cut off
}

func newFrame(s *sweep, floor float64) Frame {
	f := Frame{PouredMM3: s.poured, FloorMM: floor, cols: s.columns, surface: make([]float32, len(s.lo)), air: make([]bool, len(s.lo))}
	for r := range s.lo {
		f.surface[r] = float32(s.surface(int32(r)))
		f.air[r] = s.state[r] == frozen
	}
	return f
}

// FilledMM3 is the resin in the columns of the frame.
func (f *Frame) FilledMM3() float64 {
	v := 0.0
	for r, z := range f.surface {
		v += float64(z) - f.cols.lo[r]
	}
	return v * f.cols.pitch * f.cols.pitch
}
