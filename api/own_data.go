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
	answer := ownData{media: "application/json", file: "own-data.json"}
	form := conduct.OwnDataJSON
	if or(r.Params.Format, openapi.ExportOwnDataParamsFormatJSON) == openapi.ExportOwnDataParamsFormatCsv {
		answer, form = ownData{media: "application/zip", file: "own-data.zip"}, conduct.OwnDataTables
	}
	answer.write = func(w io.Writer) error { return h.service.OwnData(ctx, actorOf(ctx), form, w) }
	return answer, nil
}

// ownData is written while it is being read.
type ownData struct {
	media, file string
	write       func(io.Writer) error
}

// VisitExportOwnDataResponse writes the data.
func (d ownData) VisitExportOwnDataResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Disposition", `attachment; filename="`+d.file+`"`)
	return stream(w, d.media, d.write)
}
