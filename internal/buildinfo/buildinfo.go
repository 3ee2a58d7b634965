package buildinfo

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync"
)

// Set at build by -ldflags -X.
var (
	version string // what people call it, such as a tag
	sources string // hash of the sources that compute
)

// Version is what people call this build.
func Version() string {
	if version != "" {
		return version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unknown"
}

// markBytes of a hash tell builds apart and can still be read out.
const markBytes = 8

// Mark changes with whatever this build computes with.
var Mark = sync.OnceValue(func() string {
	if sources != "" {
		return sources
	}
	sum, err := ownFile()
	if err != nil {
		return "unmarked " + Version() // tells nothing apart that the version does not
	}
	return "file-" + sum
})

func ownFile() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("find the program's own file: %w", err)
	}
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("read the program's own file: %w", err)
	}
	defer f.Close() // only read
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("read the program's own file: %w", err)
	}
	return hex.EncodeToString(h.Sum(nil)[:markBytes]), nil
}
