package web

import (
	"context"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"mouldwright/internal/membudget"
)

// Reading a part, and looking it over, passes a turnstile that counts bytes: many large parts at once are
// read one after the other. What a file may come to is told from its size and format before it is read.

const (
	// readingBytes is what all parts that are being read may take together. More at once would not be
	// faster: reading uses a whole core.
	readingBytes = 512 << 20
	// readingLine is how many may wait for it.
	readingLine = 64
	// largeRead is the need after which memory is given back to the system at once.
	largeRead = 128 << 20
	// bytesAFacet is what the largest mesh takes while it is read and looked over: three corners and their
	// numbers, as much again while lists grow, and the tables of edges.
	bytesAFacet = 400
)

// bytesAByte is how much memory a byte of a file may come to, by its extension. A facet of binary STL is 50
// bytes of the file; a 3MF is packed, its reader takes up to 200 to one, and XML is half of what that leaves.
var bytesAByte = map[string]int64{".3mf": 100, ".stl": 8, ".ply": 12, ".obj": 12}

const bytesAByteElse = 100

func newReading() *membudget.Shares {
	return membudget.NewShares(min(readingBytes, membudget.Bytes()/2)).WithLine(readingLine)
}

// takeFor waits for the memory that reading a file of at most so many facets may need.
func takeFor(ctx context.Context, b *membudget.Shares, path string, facets int) (give func(), err error) {
	info, err := os.Stat(path)
	if err != nil {
		return func() {}, nil // reading it will say why
	}
	each := bytesAByte[strings.ToLower(filepath.Ext(path))]
	if each == 0 {
		each = bytesAByteElse
	}
	need := min(each*info.Size(), int64(facets)*bytesAFacet)
	if give, err = b.Take(ctx, need); err != nil || need < largeRead {
		return give, err
	}
	return func() {
		debug.FreeOSMemory() // what a large part took goes back to the system before the next may take it
		give()
	}, nil
}
