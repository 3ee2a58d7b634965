package material

import (
	_ "embed"
	"fmt"
	"sort"
	"strings"
)

//go:embed generic.toml
var genericTOML []byte

// Library is a set of materials by ID, in the order of IDs. The zero value is empty.
type Library struct {
	entries []Material
}

// Generic is the library of starting entries: typical values, no product's data sheet.
func Generic() (*Library, error) {
	l, err := Decode("generic.toml", genericTOML)
	if err != nil {
		return nil, fmt.Errorf("the built-in materials: %w", err)
	}
	return l, nil
}

// Merge returns a library in which the entries of own replace those of the same ID and join the
// others.
func (l *Library) Merge(own *Library) *Library {
	return newLibrary(append(l.All(), own.entries...))
}

// newLibrary orders the materials by ID; of two with one ID the later stays.
func newLibrary(ms []Material) *Library {
	byID := make(map[string]Material, len(ms))
	for _, m := range ms {
		byID[m.ID] = m
	}
	out := &Library{entries: make([]Material, 0, len(byID))}
	for _, m := range byID {
		out.entries = append(out.entries, m)
	}
	sort.Slice(out.entries, func(i, j int) bool { return out.entries[i].ID < out.entries[j].ID })
	return out
}

// All lists the materials in the order of their IDs.
func (l *Library) All() []Material { return append([]Material(nil), l.entries...) }

// UnknownError says that a library has no material of that ID, and which it has.
type UnknownError struct {
	ID    string
	Known []string
}

func (e *UnknownError) Error() string {
	return fmt.Sprintf("no material %q; known: %s", e.ID, strings.Join(e.Known, ", "))
}

// Find returns the material of that ID, or an *UnknownError.
func (l *Library) Find(id string) (*Material, error) {
	known := make([]string, 0, len(l.entries))
	for _, m := range l.entries {
		if m.ID == id {
			return &m, nil // a copy: the library itself never changes
		}
		known = append(known, m.ID)
	}
	return nil, &UnknownError{ID: id, Known: known}
}
