package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
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

// asset is a file for browsers: as it is, its short hash, and compressed, where that makes it shorter.
type asset struct {
	bytes   []byte
	version string
	packed  []byte
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
	a := asset{bytes: b, version: hex.EncodeToString(sum[:6])}
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	must(err)
	_, err = w.Write(b)
	must(errors.Join(err, w.Close()))
	if packed.Len() < len(b)*9/10 {
		a.packed = packed.Bytes()
	}
	return a
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
	keep := "no-cache"
	if v.QueryParam("v") == a.version {
		keep = "public, max-age=31536000, immutable"
	}
	v.answerFile(name, a, keep)
	return nil
}

// answerFile answers with a file, compressed for browsers that take it so. keep is how long it may be kept.
func (v *Visit) answerFile(name string, a asset, keep string) {
	h := v.Response().Header()
	h.Set("Content-Type", typeOf(name))
	h.Set("Cache-Control", keep)
	h.Set("Vary", "Accept-Encoding")
	content, tag := a.bytes, a.version
	if a.packed != nil && strings.Contains(v.Request().Header.Get("Accept-Encoding"), "gzip") {
		content, tag = a.packed, a.version+"-packed"
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("ETag", `"`+tag+`"`)
	http.ServeContent(v.Response(), v.Request(), name, time.Time{}, bytes.NewReader(content))
}

func typeOf(name string) string {
	if t, ok := types[path.Ext(name)]; ok {
		return t
	}
	return mime.TypeByExtension(path.Ext(name))
}
