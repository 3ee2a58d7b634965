package web

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// ringID is the job that workspaceWithRing holds.
const ringID = "foot-ring"

var ringDir string // TestMain removes it

// ringFiles is the foot ring's job with all its results, built once for the tests that only need it there.
var ringFiles = sync.OnceValues(func() (dir string, err error) {
	if dir, err = os.MkdirTemp("", "mouldwright-ring-"); err != nil {
		return "", err
	}
	ringDir = dir
	part := filepath.Join(dir, "part.3mf")
	if err := meshfile.Save(part, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{lantern.FootRing().Object()}}); err != nil {
		return "", err
	}
	folder := filepath.Join(dir, ringID)
	if err := os.Mkdir(folder, 0o755); err != nil {
		return "", err
	}
	if err := job.Create(folder, part, job.CreateOptions{Name: "foot ring", Colours: []string{hexOf(lantern.ShowColour)}}); err != nil {
		return "", err
	}
	_, err = job.Run(context.Background(), folder, job.RunOptions{})
	return dir, err
})

// workspaceWithRing is a new folder of jobs with a built foot ring in it.
func workspaceWithRing(t testing.TB) string {
	t.Helper()
	from, err := ringFiles()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "jobs")
	if err := os.CopyFS(filepath.Join(dir, ringID), os.DirFS(filepath.Join(from, ringID))); err != nil {
		t.Fatal(err)
	}
	return dir
}
