package material

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// maxFileBytes bounds a material file: a few hundred entries take well under 1 MB.
const maxFileBytes = 4 << 20

// file is the whole of a material file.
type file struct {
	Materials []Material `toml:"material"`
}

// ReadFile reads a maker's material file. Errors name the file, and the line and column where there
// is one.
func ReadFile(path string) (*Library, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("material file: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("material file %s: %w", path, err)
	}
	if len(data) > maxFileBytes {
		return nil, fmt.Errorf("material file %s: larger than %d MB; it does not look like a list of materials", path, maxFileBytes>>20)
	}
	return Decode(path, data)
}

// Decode reads the text of a material file; name is only used in errors. All the problems found are
// joined in one error, each a *Problem, in the order of the file.
func Decode(name string, data []byte) (*Library, error) {
	var f file
	dec := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return nil, decodeProblems(name, err)
	}
	if len(f.Materials) == 0 {
		return nil, &Problem{File: name, Line: 1, Column: 1, What: "no [[material]] in the file", Do: "start each entry with a line [[material]]"}
	}
	at, err := locate(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	var all []error
	seen := map[string]int{}
	for i := range f.Materials {
		m := &f.Materials[i]
		ps := m.problems()
		if j, dup := seen[m.ID]; dup && m.ID != "" {
			ps = append(ps, Problem{field: field{key: "id"}, What: fmt.Sprintf("id %q is used by entry %d too", m.ID, j+1), Do: "give each entry its own id"})
		}
		seen[m.ID] = i
		for _, p := range ps {
			p.File, p.Entry = name, m.label(i)
			p.Line, p.Column = at.find(i, p.field)
			all = append(all, &p)
		}
	}
	if len(all) > 0 {
		return nil, errors.Join(all...)
	}
	return newLibrary(f.Materials), nil
}

// label names entry i of a file for a reader.
func (m *Material) label(i int) string {
	if m.ID != "" {
		return fmt.Sprintf("material %q", m.ID)
	}
	return fmt.Sprintf("material number %d", i+1)
}

// Check reports what is wrong with a material that was not read from a file; nil if nothing is.
func (m *Material) Check() error {
	var all []error
	for _, p := range m.problems() {
		p.Entry = m.label(0)
		all = append(all, &p)
	}
	return errors.Join(all...)
}

// decodeProblems turns the decoder's errors into Problems with their places.
func decodeProblems(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var all []error
		for i := range strict.Errors {
			e := &strict.Errors[i]
			row, col := e.Position()
			all = append(all, &Problem{File: name, Line: row, Column: col,
				What: fmt.Sprintf("unknown key %q", strings.Join(e.Key(), ".")),
				Do:   "correct its spelling or remove it; docs/material.md lists the keys"})
		}
		return errors.Join(all...)
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		row, col := bad.Position()
		what := strings.TrimPrefix(bad.Error(), "toml: ")
		if k := bad.Key(); len(k) > 0 {
			what = strings.Join(k, ".") + ": " + what
		}
		return &Problem{File: name, Line: row, Column: col, What: what, Do: "correct the TOML there"}
	}
	return fmt.Errorf("%s: %w", name, err)
}
