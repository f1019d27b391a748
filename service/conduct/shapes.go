package conduct

import (
	"io"

	"evenrig/service/analysis"
	"evenrig/service/report"
)

// Shape is a form in which a result is shown.
type Shape func(io.Writer, analysis.Result, report.About) error

// The shapes in which a result is shown beside those that package report names: the whole report as a page of its own, the result as
// a picture to pass on, wide or square, and as a few lines of text.
var (
	ReportPage Shape = report.HTML

	WidePicture Shape = func(w io.Writer, r analysis.Result, a report.About) error {
		return report.PictureSVG(w, r, a, report.Wide)
	}
	WidePixels Shape = func(w io.Writer, r analysis.Result, a report.About) error {
		return report.PicturePNG(w, r, a, report.Wide)
	}

	SquarePicture Shape = func(w io.Writer, r analysis.Result, a report.About) error {
		return report.PictureSVG(w, r, a, report.Square)
	}
	SquarePixels Shape = func(w io.Writer, r analysis.Result, a report.About) error {
		return report.PicturePNG(w, r, a, report.Square)
	}

	Post Shape = func(w io.Writer, r analysis.Result, a report.About) error {
		_, err := io.WriteString(w, report.Post(r, a))
		return err
	}
)
