package conduct

import (
	"archive/zip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// PublishedView is a published trial as everybody may read of it. Current is the edition that stands, zero while the next one is
// being made; Editions are all that ever stood, the withdrawn ones too. Repeats are the trials registered here that repeat it.
type PublishedView struct {
	Trial    trial.Trial
	Current  trial.Publication
	Editions []trial.Publication
	RepeatOf trial.ID
	Repeats  []trial.ID
}

// Published returns a published trial, to whoever asks: no sign-in is needed.
func (s *Service) Published(ctx context.Context, id trial.ID) (view PublishedView, err error) {
	err = s.store.InLongReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		if view.Trial, err = tx.TrialBy(ctx, id); err != nil {
			return notPublished(err)
		}
		all, err := tx.PublicationsOf(ctx, id)
		if err != nil {
			return err
		}
		view.Editions = nil
		for _, e := range all {
			if e.MadeAt != nil {
				view.Editions = append(view.Editions, e)
			}
		}
		if len(view.Editions) == 0 {
			return notPublished(nil)
		}
		view.Current, _ = trial.StandingEdition(view.Editions)
		p, err := s.rulesOf(ctx, tx, view.Trial)
		if err != nil {
			return err
		}
		view.RepeatOf = p.RepeatOf
		view.Repeats, err = tx.RepeatsOf(ctx, id)
		return err
	})
	return view, err
}

// notPublished is the one answer for what does not exist and for what is not published.
func notPublished(err error) error {
	if err == nil || trial.KindOf(err) == trial.NotFound {
		return trial.Missing("published trial")
	}
	return err
}

// OpenPackage returns an edition of a published trial, 0 for the one that stands, and its package's bytes, read from the
// database a piece at a time while ctx lasts.
//
// Errors: Missing where none stands, Gone for an edition that was withdrawn, also while it is being read.
func (s *Service) OpenPackage(ctx context.Context, id trial.ID, edition int) (e trial.Publication, bytes *PackageReader, err error) {
	err = s.store.InLongReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		editions, err := tx.PublicationsOf(ctx, id)
		if err != nil {
			return err
		}
		e, err = trial.EditionBy(editions, edition)
		return err
	})
	if err != nil {
		return e, nil, err
	}
	r := &PackageReader{ctx: ctx, service: s, edition: e, n: -1}
	r.SectionReader = io.NewSectionReader(readerAt(r.readAt), 0, e.Size)
	return e, r, nil
}

// PackageReader reads a package's bytes from any place. It keeps the last piece that it read, and is for one goroutine.
type PackageReader struct {
	*io.SectionReader
	ctx     context.Context //nolint:containedctx // io.ReaderAt takes none
	service *Service
	edition trial.Publication
	n       int
	chunk   []byte
}

type readerAt func(b []byte, offset int64) (int, error)

// ReadAt implements io.ReaderAt.
func (f readerAt) ReadAt(b []byte, offset int64) (int, error) { return f(b, offset) }

func (r *PackageReader) readAt(b []byte, offset int64) (read int, err error) {
	for read < len(b) {
		n, from := int(offset/trial.PackageChunk), offset%trial.PackageChunk
		if err := r.load(n); err != nil {
			return read, err
		}
		if from >= int64(len(r.chunk)) {
			return read, io.EOF
		}
		copied := copy(b[read:], r.chunk[from:])
		read, offset = read+copied, offset+int64(copied)
	}
	return read, nil
}

// load reads the n-th piece, unless it is the one at hand.
func (r *PackageReader) load(n int) error {
	if n == r.n {
		return nil
	}
	err := r.service.store.InLongReadTx(r.ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		r.chunk, err = tx.PackageBytes(ctx, r.edition.TrialID, r.edition.Edition, n)
		return err
	})
	if trial.KindOf(err) == trial.NotFound {
		return errors.Join(io.ErrUnexpectedEOF, err)
	}
	if err == nil {
		r.n = n
	}
	return err
}

// PublishedWorkbook writes the tables of the package that stands as a workbook. Nothing is written when it fails before w takes the
// first byte.
func (s *Service) PublishedWorkbook(ctx context.Context, id trial.ID, w io.Writer) error {
	e, r, err := s.OpenPackage(ctx, id, 0)
	if err != nil {
		return err
	}
	p, err := exchange.ReadPackage(r, e.Size)
	if err != nil {
		return noFault(fmt.Errorf("read the package of trial %s: %w", id, err))
	}
	return exchange.WritePackageWorkbook(w, p)
}

// PublishedResult returns the result in the package of a published trial that stands, byte for byte.
func (s *Service) PublishedResult(ctx context.Context, id trial.ID) (trial.Publication, []byte, error) {
	return s.publishedFile(ctx, id, "result.json")
}

// PublishedReport returns the report page in the package of a published trial that stands.
func (s *Service) PublishedReport(ctx context.Context, id trial.ID) (trial.Publication, []byte, error) {
	return s.publishedFile(ctx, id, "report.html")
}

// PublishedRules returns the rule sheet in the package of a published trial that stands, as everybody may read it.
func (s *Service) PublishedRules(ctx context.Context, id trial.ID) (p trial.Protocol, err error) {
	_, text, err := s.publishedFile(ctx, id, "plan.json")
	if err != nil {
		return p, err
	}
	if err := json.Unmarshal(text, &p); err != nil {
		return p, fmt.Errorf("read the published rule sheet of trial %s: %w", id, err)
	}
	return p, nil
}

// publishedFile returns a file of the package that stands. Which one stands is asked anew each time, by those who ask at once
// together; the bytes are taken out of the package once.
func (s *Service) publishedFile(ctx context.Context, id trial.ID, name string) (trial.Publication, []byte, error) {
	found, err := s.askedInOpen.do(ctx, fileOfPackage{id, name}, func(ctx context.Context) (found publishedText, err error) {
		e, r, err := s.OpenPackage(ctx, id, 0)
		if err != nil {
			return found, err
		}
		text, err := s.published.of(fileOfEdition{e.Package, name}, func() ([]byte, error) {
			archive, err := zip.NewReader(r, e.Size)
			if err != nil {
				return nil, fmt.Errorf("open the package of trial %s: %w", id, err)
			}
			text, err := fs.ReadFile(archive, name)
			if err != nil {
				return nil, fmt.Errorf("read the package of trial %s: %w", id, err)
			}
			return text, nil
		})
		return publishedText{e, text}, err
	})
	return found.edition, found.text, err
}

// fileOfPackage is a question for a file of the package that stands, fileOfEdition what never changes.
type (
	fileOfPackage struct {
		trial trial.ID
		name  string
	}
	fileOfEdition struct {
		digest trial.Digest
		name   string
	}
	publishedText struct {
		edition trial.Publication
		text    []byte
	}
)

// FoundFish is what became of a record of which somebody holds a receipt.
type FoundFish = exchange.OwnFish

// FindFish looks in the package of a published trial that stands for the records of which somebody holds receipts: as they were
// received, corrected, or not there. text is a receipt's code, or receipts in JSON. Whoever asks needs no sign-in.
//
// Errors: Invalid for what is no receipt, Missing or Gone where no package stands, TooMany while another one is being read.
func (s *Service) FindFish(ctx context.Context, id trial.ID, text string) ([]FoundFish, error) {
	receipts, err := exchange.ReadReceipts([]byte(text))
	if err != nil {
		return nil, err
	}
	e, r, err := s.OpenPackage(ctx, id, 0)
	if err != nil {
		return nil, err
	}
	done, err := s.readOne()
	if err != nil {
		return nil, err
	}
	defer done()
	p, err := exchange.ReadPackage(r, e.Size)
	if err != nil {
		return nil, noFault(fmt.Errorf("read the package of trial %s: %w", id, err))
	}
	return exchange.FindReceipts(p, receipts)
}

// readOne takes the place of the one whose package is read; done gives it back.
func (s *Service) readOne() (done func(), err error) {
	select {
	case s.reading <- struct{}{}:
		return func() { <-s.reading }, nil
	default:
		return nil, trial.Fail(trial.TooMany, "package.busy", "another package is being read; ask again in a moment")
	}
}
