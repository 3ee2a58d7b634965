package bundle

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"testing/fstest"
	"time"
)

func sample(at time.Time) fstest.MapFS {
	return fstest.MapFS{"job.toml": {Data: []byte("format = 1\n"), ModTime: at, Mode: 0o600}, "out/pieces/a.stl": {Data: bytes.Repeat([]byte("x"), 70_000), ModTime: at},
		"out/empty": {ModTime: at}}
}

func written(t *testing.T, from fstest.MapFS) []byte {
	t.Helper()
	names, err := Files(from)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Write(&b, from, names); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestThereAndBack(t *testing.T) {
	from := sample(time.Unix(1e9, 0))
	b := written(t, from)
	if !bytes.Equal(b, written(t, sample(time.Unix(2e9, 0)))) {
		t.Error("the dates of files show in the bundle")
	}
	dir := t.TempDir()
	names, err := Read(bytes.NewReader(b), dir, Limits{})
	if err != nil || !slices.Equal(names, []string{"job.toml", "out/empty", "out/pieces/a.stl"}) {
		t.Fatalf("%v: %v", names, err)
	}
	for _, n := range names {
		if got, err := os.ReadFile(filepath.Join(dir, n)); err != nil || !bytes.Equal(got, from[n].Data) {
			t.Errorf("%s: %d bytes, %v", n, len(got), err)
		}
	}
}

// The system's own tar reads it: it is what doc.go says.
func TestSystemTarReadsIt(t *testing.T) {
	tarPath, err := exec.LookPath("tar")
	if err != nil {
		t.Skip("no tar here")
	}
	cmd := exec.Command(tarPath, "-tzf", "-")
	cmd.Stdin = bytes.NewReader(written(t, sample(time.Now())))
	out, err := cmd.Output()
	if err != nil || string(out) != "job.toml\nout/empty\nout/pieces/a.stl\n" {
		t.Errorf("%q, %v", out, err)
	}
}

// strange makes an archive of one entry.
func strange(t *testing.T, h tar.Header, content string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	w := tar.NewWriter(z)
	h.Size = int64(len(content))
	if err := w.WriteHeader(&h); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write([]byte(content)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Close(), z.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestHostile(t *testing.T) {
	good := written(t, sample(time.Now()))
	for name, c := range map[string]struct {
		b    []byte
		lim  Limits
		want error
	}{
		"climbs":      {strange(t, tar.Header{Name: "../evil", Typeflag: tar.TypeReg}, "x"), Limits{}, ErrStrange},
		"absolute":    {strange(t, tar.Header{Name: "/tmp/evil", Typeflag: tar.TypeReg}, "x"), Limits{}, ErrStrange},
		"link":        {strange(t, tar.Header{Name: "a", Linkname: "/etc/passwd", Typeflag: tar.TypeSymlink}, ""), Limits{}, ErrStrange},
		"device":      {strange(t, tar.Header{Name: "a", Typeflag: tar.TypeChar}, ""), Limits{}, ErrStrange},
		"folder":      {strange(t, tar.Header{Name: "a/", Typeflag: tar.TypeDir}, ""), Limits{}, ErrStrange},
		"too large":   {good, Limits{Bytes: 69_999}, ErrTooLarge},
		"too many":    {good, Limits{Files: 2}, ErrTooLarge},
		"cut short":   {good[:len(good)/2], Limits{}, nil},
		"no archive":  {[]byte("hello, this is text"), Limits{}, ErrStrange},
		"empty input": {nil, Limits{}, ErrStrange},
	} {
		top := t.TempDir()
		dir := filepath.Join(top, "in")
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		_, err := Read(bytes.NewReader(c.b), dir, c.lim)
		if err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if entries, _ := os.ReadDir(top); len(entries) != 1 {
			t.Errorf("%s: a file was made outside", name)
		}
	}
}
