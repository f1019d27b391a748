package api

import (
	"context"
	"io"
	"net/http"

	"evenrig/openapi"
	"evenrig/service/conduct"
)

// ExportOwnData hands the actor everything that the server keeps of him.
func (h *handlers) ExportOwnData(ctx context.Context, r openapi.ExportOwnDataRequestObject) (openapi.ExportOwnDataResponseObject, error) {
	copied := ownData{media: "application/json", name: "own-data.json", write: func(w io.Writer) error {
		return h.service.OwnData(ctx, actorOf(ctx), conduct.OwnDataJSON, w)
	}}
	if or(r.Params.Format, openapi.ExportOwnDataParamsFormatJSON) == openapi.ExportOwnDataParamsFormatCsv {
		copied.media, copied.name = "application/zip", "own-data.zip"
		copied.write = func(w io.Writer) error { return h.service.OwnData(ctx, actorOf(ctx), conduct.OwnDataTables, w) }
	}
	return copied, nil
}

// ownData is written as it is read, so that no copy of it is held.
type ownData struct {
	media, name string
	write       func(io.Writer) error
}

// VisitExportOwnDataResponse writes the copy. A failure after the first byte cuts the connection off: what came before
// would look whole.
func (d ownData) VisitExportOwnDataResponse(w http.ResponseWriter) error {
	begun := &beginning{ResponseWriter: w, begin: func() {
		w.Header().Set("Content-Type", d.media)
		w.Header().Set("Content-Disposition", `attachment; filename="`+d.name+`"`)
	}}
	err := d.write(begun)
	if err != nil && begun.done {
		panic(http.ErrAbortHandler)
	}
	return err
}

// beginning calls begin before the first byte.
type beginning struct {
	http.ResponseWriter
	begin func()
	done  bool
}

func (b *beginning) Write(p []byte) (int, error) {
	if !b.done {
		b.begin()
		b.done = true
	}
	return b.ResponseWriter.Write(p)
}
