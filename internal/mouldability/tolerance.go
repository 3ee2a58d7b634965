package mouldability

const (
	// ZeroDraftDeg is the draft under which a narrow facet is a wall. A twentieth of a degree is
	// 9 µm over 10 mm: less than printing and pouring reproduce (common practice, no source).
	ZeroDraftDeg = 0.05

	// noiseRel times the part's size is the distance that coordinates are trusted to. float32
	// files carry 24 bits, so a coordinate of the size L is off by up to L·2⁻²⁵ ≈ 3e-8·L, and a
	// part that was turned before it was written shows several such errors at once. Overlaps
	// narrower than this, and gaps lower, are shared silhouettes and not undercuts.
	noiseRel = 1e-6

	// DefaultToleranceMM is the width under which an undercut is dismissed: the travel proof lets
	// surfaces slide within the same 5 µm.
	DefaultToleranceMM = 0.005

	// DefaultMinDraftDeg is the draft asked for when the caller does not say (common practice, no
	// source: 1° releases most castings).
	DefaultMinDraftDeg = 1
)
