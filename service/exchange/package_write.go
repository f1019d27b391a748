package exchange

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strings"
	"time"
)

// The files of a package beside its tables.
const (
	fileReadme     = "README.txt"
	fileDescriptor = "datapackage.json"
	fileDictionary = "dictionary.csv"
	fileLicence    = "LICENCE.txt"
	filePlan       = "plan.json"
	fileResult     = "result.json"
	fileReport     = "report.html"
	fileChecksums  = "checksums.txt"
)

// packageFile is a file of a package and what writes it.
type packageFile struct {
	name  string
	write func(io.Writer) error
}

// WritePackage writes the package as a zip archive. The same package gives the same bytes from one build of the program: files stand
// in one order, without times of their own. Rows are written as they are read, so that memory does not grow with them.
// checksums.txt, the last file, is what sha256sum -c reads. The error is trial.Invalid for a licence that is none of Licences, else
// that of w or of a table.
func WritePackage(w io.Writer, p Package) error {
	files, err := p.files()
	if err != nil {
		return err
	}
	archive := zip.NewWriter(w)
	var sums strings.Builder
	for _, f := range files {
		sum := sha256.New()
		if err := writeFile(archive, f.name, func(w io.Writer) error { return f.write(io.MultiWriter(w, sum)) }); err != nil {
			return err
		}
		sums.WriteString(hex.EncodeToString(sum.Sum(nil)) + "  " + f.name + "\n")
	}
	if err := writeFile(archive, fileChecksums, content([]byte(sums.String()))); err != nil {
		return err
	}
	if err := archive.Close(); err != nil {
		return fmt.Errorf("write the package: %w", err)
	}
	return nil
}

// packageTime is every file's: the first that a zip archive can hold.
var packageTime = time.Date(1980, time.January, 1, 0, 0, 0, 0, time.UTC)

func writeFile(archive *zip.Writer, name string, write func(io.Writer) error) error {
	w, err := archive.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: packageTime})
	if err == nil {
		err = write(w)
	}
	if err != nil {
		return fmt.Errorf("write %s of the package: %w", name, err)
	}
	return nil
}

// files are all files but the checksums, in their order: what a person opens first comes first.
func (p Package) files() ([]packageFile, error) {
	descriptor, err := descriptorText(p)
	if err != nil {
		return nil, err
	}
	licence, err := licenceOf(p.Facts.Licence)
	if err != nil {
		return nil, err
	}
	files := []packageFile{
		{fileReadme, content(readmeText(p, licence))},
		{fileReport, content(p.Report)},
		{fileResult, content(p.Result)},
		{filePlan, content(p.Plan)},
		{fileDescriptor, content(descriptor)},
		{fileDictionary, writeDictionary},
		{fileLicence, content(licenceText(p, licence))},
	}
	for _, t := range packageTables() {
		files = append(files, packageFile{t.name + ".csv", func(w io.Writer) error { return t.writeCSV(w, p) }})
	}
	return files, nil
}

func content(b []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	}
}

func licenceText(p Package, l Licence) []byte {
	var b bytes.Buffer
	whose := p.Facts.Club
	if whose == "" {
		whose = "a fishing club that is not named"
	}
	fmt.Fprintf(&b, "%s\nSPDX-License-Identifier: %s\n%s\n\n%s\n\n", l.Name, l.ID, l.URL, wrapped(l.Terms))
	fmt.Fprintf(&b, "%s\n", wrapped(fmt.Sprintf("Data of the trial %q by %s, trial %s, edition %d, locked in week %s.", p.Facts.Title, whose, p.Facts.Trial, p.Facts.Edition, p.Facts.Locked)))
	return b.Bytes()
}

func readmeText(p Package, l Licence) []byte {
	var b bytes.Buffer
	f := p.Facts
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%s", wrapped(f.Title))
	line("")
	line("%s", wrapped(f.Question))
	line("")
	line("%s", wrapped(fmt.Sprintf("A paired two-fly trial: pattern %s (the changed fly) against %s (the usual one), both on one rig, chance deciding which is lower. "+
		"The answer is choice between two flies in the water, never more fish.", f.Test, f.Control)))
	line("")
	line("WHAT IS HERE")
	line("%-22s  %s", fileReport, "the result in words and pictures; open this first")
	line("%-22s  %s", fileResult, "the result in numbers, byte for byte as it was computed")
	line("%-22s  %s", filePlan, "the rule sheet, without names and waters")
	for _, t := range packageTables() {
		line("%-22s  %s", t.name+".csv", t.about)
	}
	line("%-22s  %s", fileDictionary, "what every column of these tables means")
	line("%-22s  %s", fileDescriptor, "the same for programs (Data Package and Table Schema 2.0)")
	line("%-22s  %s", fileLicence, l.Name+" ("+l.ID+")")
	line("%-22s  %s", fileChecksums, "SHA-256 of all files, for sha256sum -c "+fileChecksums)
	line("")
	line("HOW TO READ THE TABLES")
	line("%s", wrapped("CSV by RFC 4180 in UTF-8: commas, a header, CRLF. An empty value is missing; where it was left out on purpose the column withheld names it. "+
		"A text that a spreadsheet program would take for a formula has an apostrophe before it, which is not part of the text (of several apostrophes before such a text the first is not). "+
		"Rows are in order of the anglers' pseudonyms, and of an angler in the order in which they were kept."))
	line("")
	line("WHAT IS NOT HERE")
	line("%s", wrapped("Names of people and waters, notes, and any time finer than a week. Pseudonyms belong to this trial alone. A place is a cell of the rule sheet's grid or nothing. "+
		"A cell, week or species that fewer than three anglers share in the records is left empty, and so is the entry in the ledger that would tell it; "+
		"the order of an angler's records stays, so that an empty week lies between its neighbours', and the ledger tells the kind of every entry, "+
		"so that whoever knows the club may see who left or had a card typed in. "+
		"Rows of anglers who did not agree to open publication are left out, of three anglers at least or of none."))
	line("%s", wrapped(fmt.Sprintf("Anglers who joined: %d. Left out: the rows of %d of them. Erased on their own wish: the records of %d more.", f.Enrolled, f.Withheld, f.ErasedAnglers)))
	line("")
	line("HOW TO CHECK IT")
	line("%s", wrapped("The program that wrote this package checks it without any database: evenrig verify PACKAGE.zip works out the draw, the chains, the counts and the result again "+
		"and says what agrees, what does not and what cannot be told. Whoever fished can add --receipt with a receipt from the phone and find the own fish."))
	line("")
	line("CAUTION")
	line("%s", wrapped("Nothing here is advice to fish anywhere, at any time or in any way. Local law, season, byelaws, licence and permit and the water owner's rules come first; "+
		"handle fish with care and stop when the water is warm. The report repeats the cautions of the rule sheet."))
	return b.Bytes()
}

// wrapped breaks a text into lines of at most 78 characters.
func wrapped(text string) string {
	var b strings.Builder
	width := 0
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case width+1+n > 78:
			b.WriteByte('\n')
			width = 0
		default:
			b.WriteByte(' ')
			width++
		}
		b.WriteString(word)
		width += n
	}
	return b.String()
}
