// Command gather writes the licence texts of everything in the program to internal/licences/texts.json. Run it
// in the module's root after `make deps` and when a module or package comes or goes: make licences.
package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"mouldwright/internal/atomicfile"
)

func main() {
	if err := write("."); err != nil {
		fmt.Fprintln(os.Stderr, "gather:", err)
		os.Exit(1)
	}
}

func write(root string) error {
	all, err := Gather(root)
	if err != nil {
		return err
	}
	return atomicfile.Write("internal/licences/texts.json", func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		e.SetIndent("", " ")
		return e.Encode(all)
	})
}
