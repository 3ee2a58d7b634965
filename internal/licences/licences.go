package licences

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

//go:embed texts.json
var texts []byte

// Text is one licence text and whose work comes under it.
type Text struct {
	Works []string `json:"works"` // module paths and package names
	Kind  string   `json:"kind"`  // SPDX identifier (spdx.org/licenses), or "" for a notice that goes with one
	Text  string   `json:"text"`
}

// All gives every text, in the order of the first work under it.
func All() ([]Text, error) {
	var all []Text
	if err := json.Unmarshal(texts, &all); err != nil {
		return nil, fmt.Errorf("read the licence texts: %w", err)
	}
	return all, nil
}

// Of gives the texts for works whose name holds a word.
func Of(word string) ([]Text, error) {
	all, err := All()
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(t Text) bool {
		return !slices.ContainsFunc(t.Works, func(w string) bool { return strings.Contains(strings.ToLower(w), strings.ToLower(word)) })
	}), nil
}
