package tooling

// Thread is one metric coarse thread with the standard parts that go with it. All lengths are mm.
type Thread struct {
	Name        string  // "M4"
	DiameterMM  float64 // nominal thread diameter
	PitchMM     float64 // coarse pitch, ISO 261
	HeadDiamMM  float64 // ISO 4762, dk max of a plain (not knurled) head
	HeadHighMM  float64 // ISO 4762, k max
	KeyMM       float64 // ISO 4762, s nominal: the hexagon key
	NutFlatsMM  float64 // ISO 4032, s max: width across flats
	NutHighMM   float64 // ISO 4032, m max
	HoleMM      float64 // ISO 273, medium series: clearance hole
	WasherDiaMM float64 // ISO 7089, d2 nominal: outside diameter
	WasherMM    float64 // ISO 7089, h nominal: thickness
	LengthsMM   []float64
}

// screwLengths are the commercial lengths of ISO 4762 screws (the series of ISO 888), mm.
var screwLengths = []float64{5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80}

// lengthsBetween are the standard lengths from first to last.
func lengthsBetween(first, last float64) []float64 {
	var out []float64
	for _, l := range screwLengths {
		if first <= l && l <= last {
			out = append(out, l)
		}
	}
	return out
}

// threads is data of ISO 4762, ISO 4032 (2001 and later: taller M5 and up than the older nut of
// DIN 934), ISO 273 and ISO 7089. Set down from memory; the tests compare it with public reprints of
// the standards. Lengths run over the commercial range that ISO 4762 gives for each size.
var threads = []Thread{
	{"M3", 3, 0.5, 5.5, 3, 2.5, 5.5, 2.4, 3.4, 7, 0.5, lengthsBetween(5, 30)},
	{"M4", 4, 0.7, 7, 4, 3, 7, 3.2, 4.5, 9, 0.8, lengthsBetween(6, 40)},
	{"M5", 5, 0.8, 8.5, 5, 4, 8, 4.7, 5.5, 10, 1, lengthsBetween(8, 50)},
	{"M6", 6, 1, 10, 6, 5, 10, 5.2, 6.6, 12, 1.6, lengthsBetween(10, 60)},
	{"M8", 8, 1.25, 13, 8, 6, 13, 6.8, 9, 16, 1.6, lengthsBetween(12, 80)},
}

// Threads lists the sizes that bolts can have, smallest first. The caller owns the result.
func Threads() []Thread {
	out := make([]Thread, len(threads))
	for i, t := range threads {
		t.LengthsMM = append([]float64(nil), t.LengthsMM...)
		out[i] = t
	}
	return out
}
