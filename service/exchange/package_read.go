package exchange

import (
	"archive/zip"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// The limits of a package that is read: how large it may be, packed and with all its files unpacked, how often larger unpacked than
// packed one file may be, and the files that are held whole.
const (
	MaxPackageBytes    = 2 << 30
	maxPackageUnpacked = 8 << 30
	maxPackageRatio    = 250
	maxPackagePage     = 16 << 20
	maxDirectoryBytes  = 64 << 10
)

// packageArchive is the archive that a package was read from.
type packageArchive struct {
	files map[string]*zip.File
}

// ReadPackage reads what WritePackage wrote. Short tables and pages are read at once, the long tables whenever they are run, straight from r,
// which must stay open as long. Nothing is unpacked into memory but one row of them.
//
// The error is trial.Invalid, with the file and the line, for what is no package: not a zip archive, files missing, files too many or twice,
// names with folders, files that unpack to more than the limits, tables with other columns. A long table's faults come when it is run.
// Whether what the tables say agrees is Verify's question.
func ReadPackage(r io.ReaderAt, size int64) (Package, error) {
	archive, err := openArchive(r, size)
	if err != nil {
		return Package{}, err
	}
	p := Package{archive: archive}
	for _, page := range []struct {
		name string
		into *[]byte
	}{{fileResult, &p.Result}, {filePlan, &p.Plan}, {fileReport, &p.Report}} {
		if *page.into, err = archive.whole(page.name); err != nil {
			return Package{}, err
		}
	}
	for _, t := range packageTables() {
		if t.read == nil {
			continue
		}
		if err := t.read(&p, func() (io.ReadCloser, error) { return archive.open(t.name + ".csv") }); err != nil {
			return Package{}, err
		}
	}
	return p, nil
}

func openArchive(r io.ReaderAt, size int64) (*packageArchive, error) {
	if err := checkDirectory(r, size); err != nil {
		return nil, err
	}
	in, err := zip.NewReader(r, size)
	if err != nil {
		return nil, packageFault("the file", "is no zip archive that can be read: %v", err)
	}
	a := &packageArchive{files: map[string]*zip.File{}}
	wanted := packageFileNames()
	var unpacked uint64
	for _, f := range in.File {
		switch {
		case !slices.Contains(wanted, f.Name):
			return nil, packageFault(fmt.Sprintf("%.80q", f.Name), "is no file of a package; accepted: %s, without folders", strings.Join(wanted, ", "))
		case a.files[f.Name] != nil:
			return nil, packageFault(f.Name, "stands twice in the archive")
		case f.Method != zip.Deflate && f.Method != zip.Store || f.Flags&1 != 0:
			return nil, packageFault(f.Name, "is encrypted or packed otherwise than by deflate; accepted: deflated or stored")
		case f.UncompressedSize64 > maxPackageRatio*(f.CompressedSize64+1024):
			return nil, packageFault(f.Name, "unpacks to %d bytes from %d; accepted: up to %d times as many", f.UncompressedSize64, f.CompressedSize64, maxPackageRatio)
		case f.UncompressedSize64 > maxPackageUnpacked-unpacked:
			return nil, packageFault("the file", "unpacks to more than %d GB", maxPackageUnpacked>>30)
		}
		unpacked += f.UncompressedSize64
		a.files[f.Name] = f
	}
	for _, name := range wanted {
		if a.files[name] == nil {
			return nil, packageFault(name, "is missing from the archive")
		}
	}
	return a, nil
}

// packageFileNames are the files that every package has.
func packageFileNames() []string {
	names := []string{fileReadme, fileReport, fileResult, filePlan, fileDescriptor, fileDictionary, fileLicence}
	for _, t := range packageTables() {
		names = append(names, t.name+".csv")
	}
	return append(names, fileChecksums)
}

// checkDirectory bounds the list of files at the archive's end before it is read into memory: it has a length of its own choosing
// (APPNOTE.TXT of the zip format, section 4.3.16).
func checkDirectory(r io.ReaderAt, size int64) error {
	const record = 22 // bytes of the end of central directory record without its comment
	switch {
	case size > MaxPackageBytes:
		return packageFault("the file", "is larger than %d GB; accepted: up to that", MaxPackageBytes>>30)
	case size < record:
		return packageFault("the file", "has %d bytes and is no zip archive", size)
	}
	var end [record]byte
	if _, err := r.ReadAt(end[:], size-record); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read the package: %w", err)
	}
	if string(end[:4]) != "PK\x05\x06" {
		return packageFault("the file", "is no zip archive, or one with something after its end; accepted: a package as it was downloaded")
	}
	n, length, start := littleEndian(end[10:12]), littleEndian(end[12:16]), littleEndian(end[16:20])
	if n > 2*int64(len(packageFileNames())) || length > maxDirectoryBytes || start+length+record != size {
		return packageFault("the file", "is a zip archive of %d files with a directory of %d bytes; accepted: a package as it was downloaded", n, length)
	}
	return nil
}

func littleEndian(b []byte) (n int64) {
	for i, c := range b {
		n |= int64(c) << (8 * i)
	}
	return n
}

// open opens a file of the archive; its length and checksum are the archive's to keep.
func (a *packageArchive) open(name string) (io.ReadCloser, error) {
	file, err := a.files[name].Open()
	if err != nil {
		return nil, packageFault(name, "cannot be unpacked: %v", err)
	}
	return struct {
		io.Reader
		io.Closer
	}{unpacking{bufio.NewReaderSize(file, 64<<10), name}, file}, nil
}

// unpacking names the file in what goes wrong when it is unpacked.
type unpacking struct {
	from io.Reader
	name string
}

func (u unpacking) Read(b []byte) (int, error) {
	n, err := u.from.Read(b)
	if err != nil && !errors.Is(err, io.EOF) {
		err = packageFault(u.name, "cannot be unpacked: %v", err)
	}
	return n, err
}

func (a *packageArchive) whole(name string) ([]byte, error) {
	if n := a.files[name].UncompressedSize64; n > maxPackagePage {
		return nil, packageFault(name, "has %d bytes; accepted: up to %d MB", n, maxPackagePage>>20)
	}
	file, err := a.open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(file)
}

// checksums compares every file with checksums.txt and returns what is wrong, a line each.
func (a *packageArchive) checksums() (wrong []string, err error) {
	text, err := a.whole(fileChecksums)
	if err != nil {
		return nil, err
	}
	sums := map[string]string{}
	for _, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
		sum, name, ok := strings.Cut(line, "  ")
		if _, twice := sums[name]; !ok || twice || !slices.Contains(packageFileNames(), name) {
			wrong = append(wrong, fmt.Sprintf("%s has the line %.100q, which is no checksum of a file here", fileChecksums, line))
			continue
		}
		sums[name] = sum
	}
	for _, name := range packageFileNames() {
		if name == fileChecksums {
			continue
		}
		sum, err := a.sum(name)
		if err != nil {
			return nil, err
		}
		if sums[name] != sum {
			wrong = append(wrong, fmt.Sprintf("%s is not the file that %s tells of", name, fileChecksums))
		}
	}
	return wrong, nil
}

func (a *packageArchive) sum(name string) (string, error) {
	file, err := a.open(name)
	if err != nil {
		return "", err
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// readPlan reads plan.json, strictly: a rule that this program does not know is a fault, not a rule that nobody follows.
func (p Package) readPlan() (plan trial.Protocol, err error) {
	in := json.NewDecoder(bytes.NewReader(p.Plan))
	in.DisallowUnknownFields()
	if err := in.Decode(&plan); err != nil {
		return plan, packageFault(filePlan, "is no rule sheet that this program knows: %v", err)
	}
	if canonical, err := canonicalProtocol(plan); err != nil || !bytes.Equal(canonical, p.Plan) {
		return plan, packageFault(filePlan, "is not the canonical JSON (RFC 8785) of its rule sheet")
	}
	return plan, plan.CheckDraw()
}
