package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"

	"evenrig/service/report"
	"evenrig/service/trial"
)

//go:embed asset
var assetFiles embed.FS

// asset is a file for browsers, as it is and its short hash.
type asset struct {
	bytes   []byte
	version string
}

var assets = func() map[string]asset {
	all := map[string]asset{}
	must(fs.WalkDir(assetFiles, "asset", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := assetFiles.ReadFile(name)
		all[strings.TrimPrefix(name, "asset/")] = newAsset(b)
		return err
	}))
	all["report.css"] = newAsset([]byte(report.Style))
	return all
}()

func newAsset(b []byte) asset {
	sum := sha256.Sum256(b)
	return asset{b, hex.EncodeToString(sum[:6])}
}

// assetAddress is where a file for browsers is, with its version, so that it may be kept for ever.
func assetAddress(name string) string {
	a, ok := assets[name]
	if !ok {
		panic("there is no asset " + name)
	}
	return "/asset/" + name + "?v=" + a.version
}

// types are those that a system's own list may not know.
var types = map[string]string{
	".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml", ".webmanifest": "application/manifest+json", ".png": "image/png",
}

// serveAsset answers with a file. Asked for by its version it may be kept for ever, else it is asked for again.
func (s *Site) serveAsset(v *Visit) error {
	name := v.Param("*")
	a, ok := assets[name]
	if !ok {
		return trial.Missing("file")
	}
	h := v.Response().Header()
	h.Set("Content-Type", typeOf(name))
	h.Set("Cache-Control", "no-cache")
	if v.QueryParam("v") == a.version {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	h.Set("ETag", `"`+a.version+`"`)
	http.ServeContent(v.Response(), v.Request(), name, time.Time{}, bytes.NewReader(a.bytes))
	return nil
}

func typeOf(name string) string {
	if t, ok := types[path.Ext(name)]; ok {
		return t
	}
	return mime.TypeByExtension(path.Ext(name))
}
