package threemf

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// transform is the 4×3 matrix of chapter 3.3: a row vector (x y z 1) times four rows of three.
type transform [12]float64

var identity = transform{1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}

// parseTransform reads 12 numbers; empty text is the identity.
func parseTransform(text string) (transform, error) {
	if text == "" {
		return identity, nil
	}
	words := strings.Fields(text)
	if len(words) != 12 {
		return identity, fmt.Errorf("a transform has %d numbers instead of 12", len(words))
	}
	var t transform
	for i, w := range words {
		x, err := strconv.ParseFloat(w, 64)
		if err != nil || x-x != 0 {
			return identity, fmt.Errorf("a transform holds %s, which is not a finite number", clip(w))
		}
		t[i] = x
	}
	if d := t.det(); d == 0 || d-d != 0 {
		return identity, fmt.Errorf("a transform flattens the part or makes it boundless (determinant %g)", d)
	}
	return t, nil
}

func (t transform) det() float64 {
	return t[0]*(t[4]*t[8]-t[5]*t[7]) - t[1]*(t[3]*t[8]-t[5]*t[6]) + t[2]*(t[3]*t[7]-t[4]*t[6])
}

func (t transform) apply(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*t[0] + v.Y*t[3] + v.Z*t[6] + t[9],
		Y: v.X*t[1] + v.Y*t[4] + v.Z*t[7] + t[10],
		Z: v.X*t[2] + v.Y*t[5] + v.Z*t[8] + t[11],
	}
}

// then is the transform that does t first and u after it.
func (t transform) then(u transform) transform {
	if t == identity {
		return u
	}
	if u == identity {
		return t
	}
	var out transform
	for r := range 4 {
		for c := range 3 {
			s := t[3*r]*u[c] + t[3*r+1]*u[3+c] + t[3*r+2]*u[6+c]
			if r == 3 {
				s += u[9+c]
			}
			out[3*r+c] = s
		}
	}
	return out
}
