// Command stamp prints the linker flags that mark a build of mouldwright: the hash of every source and
// embedded file of the module that goes into it, and the sums of the modules it uses. The page of the web app
// is left out: it computes nothing. Run it in the module's root:
//
//	go build -ldflags "$(go run ./internal/buildinfo/stamp -version v1.2.0)" ./cmd/mouldwright
package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

const (
	program = "./cmd/mouldwright"
	into    = "mouldwright/internal/buildinfo"
	page    = "internal/web/ui/"
	// markBytes is as in package buildinfo.
	markBytes = 8
)

func main() {
	version := flag.String("version", "", "what people call the build; left out: what Go records")
	flag.Parse()
	if strings.ContainsAny(*version, " '\"\\") {
		fail(fmt.Errorf("the version %q has characters that cannot be handed on", *version))
	}
	mark, err := Mark(".")
	if err != nil {
		fail(err)
	}
	flags := "-s -w -X " + into + ".sources=" + mark
	if *version != "" {
		flags += " -X " + into + ".version=" + *version
	}
	fmt.Println(flags)
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "stamp:", err)
	os.Exit(1)
}

// Mark hashes what a build in a folder would be made of.
func Mark(root string) (string, error) {
	files, err := sourceFiles(root)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	for _, name := range files {
		if err := add(h, root, name); err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:markBytes]), nil
}

// add hashes a file with its name and its own hash, so that no two sets of files read alike.
func add(h io.Writer, root, name string) error {
	f, err := os.Open(filepath.Join(root, name))
	if err != nil {
		return fmt.Errorf("hash the sources: %w", err)
	}
	defer f.Close() // only read
	one := sha256.New()
	if _, err := io.Copy(one, f); err != nil {
		return fmt.Errorf("hash the sources: %w", err)
	}
	_, err = fmt.Fprintf(h, "%q %x\n", filepath.ToSlash(name), one.Sum(nil))
	return err
}

// sourceFiles lists what goes into the program, from the root, sorted.
func sourceFiles(root string) ([]string, error) {
	abs, err := filepath.Abs(root)
	if err != nil {
		return nil, fmt.Errorf("list the sources: %w", err)
	}
	list := exec.Command("go", "list", "-deps", "-json=Dir,Standard,Module,GoFiles,IgnoredGoFiles,EmbedFiles", program)
	list.Dir, list.Stderr = abs, os.Stderr
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("list the sources: %w", err)
	}
	files := []string{"go.mod", "go.sum"}
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p struct {
			Dir      string
			Standard bool
			Module   *struct{ Main bool }
			// IgnoredGoFiles are those of other systems: the mark is the same on all.
			GoFiles, IgnoredGoFiles, EmbedFiles []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("list the sources: %w", err)
		}
		if p.Standard || p.Module == nil || !p.Module.Main {
			continue // go.sum fixes those
		}
		for _, f := range slices.Concat(p.GoFiles, p.IgnoredGoFiles, p.EmbedFiles) {
			name, err := filepath.Rel(abs, filepath.Join(p.Dir, f))
			if err != nil {
				return nil, fmt.Errorf("list the sources: %w", err)
			}
			if !strings.HasPrefix(filepath.ToSlash(name), page) && !strings.HasSuffix(name, "_test.go") {
				files = append(files, name)
			}
		}
	}
	slices.Sort(files)
	return files, nil
}
