package exchange

import (
	"bytes"
	"fmt"
	"io"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// KitFile is one file of a kit's folder.
type KitFile struct {
	Name    string
	Content []byte
}

// Files returns every file of the kit, in the order in which a person needs them. folder is what the folder is called in the
// commands that the first page gives. protocol.json is the canonical rule sheet, so that its SHA-256 is the fingerprint that the
// check code holds; a server takes it as a draft trial's protocol and makes a draw of its own.
func (k Kit) Files(folder, programVersion string) ([]KitFile, error) {
	shown := report.Kit{Protocol: k.Protocol, Commitment: k.Commitment, Folder: folder, Program: programVersion}
	for _, a := range k.Draw.Anglers {
		shown.Anglers = append(shown.Anglers, report.KitAngler{Name: a.Name, First: k.Draw.First(k.Protocol, a)})
	}
	page := func(write func(io.Writer, report.Kit) error) func(io.Writer) error {
		return func(w io.Writer) error { return write(w, shown) }
	}
	text := func(content []byte, err error) func(io.Writer) error {
		return func(w io.Writer) error {
			if err == nil {
				_, err = w.Write(content)
			}
			return err
		}
	}
	var files []KitFile
	for _, file := range []struct {
		name  string
		write func(io.Writer) error
	}{
		{"index.html", page(report.KitStart)},
		{KitCheck, text(k.checkText())},
		{"rules.html", page(report.KitRules)},
		{"slips.html", page(report.KitSlips)},
		{"cards.html", page(report.KitCards)},
		{KitCatches, func(w io.Writer) error {
			return WriteCatchTable(w, Table{Test: k.Protocol.Code(trial.Test), Control: k.Protocol.Code(trial.Control), Rows: RowsOf[Row](nil)})
		}},
		{KitRules, text(canonicalProtocol(k.Protocol))},
		{KitSeed, text(k.seedText(), nil)},
	} {
		var b bytes.Buffer
		if err := file.write(&b); err != nil {
			return nil, fmt.Errorf("make %s of the kit: %w", file.name, err)
		}
		files = append(files, KitFile{file.name, b.Bytes()})
	}
	return files, nil
}
