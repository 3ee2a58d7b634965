package web

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"

	"mouldwright/demo/lantern"
	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// demoPart is a part of the demo lantern that a newcomer can start with.
type demoPart struct {
	Name  string `json:"name"`
	Words string `json:"words"`
	make  func() *lantern.Part
}

var demoParts = []demoPart{
	{"foot ring", "soft ring of a hand lantern: opens as two rigid halves", lantern.FootRing},
	{"bumper cap", "soft cup that grips its mould: shows a refusal and its reason", lantern.BumperCap},
}

// createDemo makes a job of a demo part.
func (s *Server) createDemo(name, material string) (string, error) {
	for _, d := range demoParts {
		if d.Name != name {
			continue
		}
		dir := filepath.Join(s.staged.dir, randomHex(8))
		if err := os.Mkdir(dir, 0o700); err != nil {
			return "", fmt.Errorf("make the demo part: %w", err)
		}
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, slug(name)+".3mf")
		model := &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{d.make().Object()}}
		if err := meshfile.Save(path, model); err != nil {
			return "", err
		}
		return s.work.create(name, path, job.CreateOptions{Name: name, Material: material, Colours: []string{hexOf(lantern.ShowColour)}})
	}
	return "", problem(http.StatusUnprocessableEntity, "there is no demo part called %q", name)
}

func hexOf(c mesh.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }
