package web

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"strings"

	"mouldwright/internal/buildinfo"
	"mouldwright/internal/record"
)

// Options set up a server. The zero value serves ./jobs on a loopback port.
type Options struct {
	Folder string // of job folders; "" is DefaultFolder
	Addr   string // host:port; "" is DefaultAddr; port 0 takes a free one

	// Token must accompany every request when Addr is not a loopback address; at least MinTokenRunes.
	Token             string
	CertFile, KeyFile string   // PEM; with them the server speaks TLS
	Hosts             []string // further names by which browsers may call the server, such as bench.lan

	// Records is where the bench's records are: an SQLite file or postgres://…; "" is RecordsFile in Folder.
	Records string

	// Database is where long work waits: postgres://… to share it with workers; "" is a file in Folder.
	Database string
	NoWork   bool // leave all work in a shared Database to workers

	MaxUploadBytes int64 // of one part; 0 is DefaultUploadBytes
	MaxFacets      int   // of one part; 0 is DefaultFacets
	Version        string
	Build          string // what tells builds apart that compute otherwise; "" is buildinfo.Mark
}

const (
	DefaultFolder = "jobs"
	DefaultAddr   = "127.0.0.1:8377"

	// DefaultUploadBytes holds a binary STL of ten million facets.
	DefaultUploadBytes = 512 << 20
	// DefaultFacets keeps one part under about 2 GB of memory while it is judged.
	DefaultFacets = 4_000_000
)

// ErrExposed says that the address can be reached from other machines and no token guards it.
var ErrExposed = errors.New("other machines could reach this address")

func (o Options) withDefaults() Options {
	if o.Folder == "" {
		o.Folder = DefaultFolder
	}
	if o.Addr == "" {
		o.Addr = DefaultAddr
	}
	if o.Build == "" {
		o.Build = buildinfo.Mark()
	}
	if o.MaxUploadBytes == 0 {
		o.MaxUploadBytes = DefaultUploadBytes
	}
	if o.MaxFacets == 0 {
		o.MaxFacets = DefaultFacets
	}
	return o
}

func (o Options) scheme() string {
	if o.CertFile != "" {
		return "https"
	}
	return "http"
}

// check refuses what would leave the workspace open to others.
func (o Options) check() error {
	host, _, err := net.SplitHostPort(o.Addr)
	if err != nil {
		return fmt.Errorf("--addr %q: write it as 127.0.0.1:8377: %w", o.Addr, err)
	}
	if o.Database != "" && !record.IsPostgres(o.Database) {
		return fmt.Errorf("--database %q: write postgres://USER@HOST/DATABASE, or leave it out to keep the line of work in the folder of jobs", o.Database)
	}
	if o.NoWork && o.Database == "" {
		return errors.New("--no-work leaves nobody to do the work; name the --database that workers share")
	}
	if (o.CertFile == "") != (o.KeyFile == "") {
		return errors.New("TLS needs both --tls-cert and --tls-key")
	}
	if o.Token != "" {
		if err := checkToken(o.Token); err != nil {
			return err
		}
	}
	if loopback(host) || o.Token != "" {
		return nil
	}
	return fmt.Errorf("--addr %s: %w, and no token guards the jobs. Leave --addr out to serve this machine alone, or set a token: MOULDWRIGHT_TOKEN=%s (and --tls-cert, --tls-key, so that it does not cross the network readable)",
		o.Addr, ErrExposed, suggestToken())
}

// loopback says whether only this machine can reach host. An empty host means every interface.
func loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

func randomHex(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails; see crypto/rand
	return hex.EncodeToString(b)
}
