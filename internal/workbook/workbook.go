// Package workbook writes XLSX workbooks so that the same content gives the same bytes.
package workbook

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// date stands in every workbook instead of the clock's.
const date = "2000-01-01T00:00:00Z"

// Write writes a workbook.
func Write(w io.Writer, f *excelize.File) error {
	if err := f.SetDocProps(&excelize.DocProperties{Creator: "mouldwright", Created: date, Modified: date}); err != nil {
		return fmt.Errorf("write the workbook: %w", err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return fmt.Errorf("write the workbook: %w", err)
	}
	if err := inOrder(w, b.Bytes()); err != nil {
		return fmt.Errorf("write the workbook: %w", err)
	}
	return nil
}

// inOrder packs an archive's files in the order of their names, without times: the library packs them
// in another order each time.
func inOrder(w io.Writer, archive []byte) error {
	in, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	out := zip.NewWriter(w)
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			return err
		}
		e, err := out.Create(f.Name)
		if err == nil {
			_, err = io.Copy(e, r)
		}
		if err := errors.Join(err, r.Close()); err != nil {
			return err
		}
	}
	return out.Close()
}
