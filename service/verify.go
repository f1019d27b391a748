package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"evenrig/service/exchange"
)

// verifyCommand works a published package out again, without any database.
type verifyCommand struct {
	Format  string   `enum:"text,json" default:"text" help:"What is printed: text or json."`
	Receipt []string `sep:"none" placeholder:"FILE|CODE" help:"A receipt from the phone, whose fish is looked for: a file in JSON, or 16 to 64 digits of its hash; may be given again."`
	Package string   `arg:"" help:"The package, a zip file as it was downloaded."`
}

// Run prints what agrees, what does not, and what cannot be told. It fails when anything disagrees.
func (c *verifyCommand) Run(s streams) error {
	receipts, err := c.receipts()
	if err != nil {
		return err
	}
	verdict, err := verifyFile(c.Package, receipts)
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if c.Format == "json" {
		out := json.NewEncoder(&page)
		out.SetIndent("", "  ")
		out.SetEscapeHTML(false)
		err = out.Encode(struct {
			Agrees bool `json:"agrees"`
			exchange.Verdict
		}{verdict.Agrees(), verdict})
	} else {
		err = verdict.Text(&page)
	}
	if err != nil {
		return err
	}
	if _, err := page.WriteTo(s.out); err != nil {
		return err
	}
	if !verdict.Agrees() {
		return fmt.Errorf("%s does not agree with itself", c.Package)
	}
	return nil
}

// verifyFile verifies a package in a file.
func verifyFile(path string, receipts []exchange.Receipt) (v exchange.Verdict, err error) {
	file, err := os.Open(path)
	if err != nil {
		return v, fmt.Errorf("the package cannot be opened: %w", err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return v, fmt.Errorf("the package cannot be opened: %w", err)
	}
	if !info.Mode().IsRegular() {
		return v, fmt.Errorf("%s is no file; accepted: a package as it was downloaded, a zip file", path)
	}
	p, err := exchange.ReadPackage(file, info.Size())
	if err != nil {
		return v, fmt.Errorf("%s: %w", path, plain(err))
	}
	if v, err = exchange.Verify(p, exchange.VerifyOptions{ProgramVersion: programVersion(), Receipts: receipts}); err != nil {
		return v, fmt.Errorf("%s: %w", path, plain(err))
	}
	return v, nil
}

// longestReceipts bounds a file of receipts.
const longestReceipts = 64 << 20

// receipts reads the receipts: a value that names a file is one, any other is a code.
func (c *verifyCommand) receipts() (all []exchange.Receipt, err error) {
	for _, given := range c.Receipt {
		text, err := readReceipt(given)
		if err != nil {
			return nil, err
		}
		list, err := exchange.ReadReceipts(text)
		if err != nil {
			return nil, usageError{fmt.Errorf("--receipt %.80s: %w", given, plain(err))}
		}
		all = append(all, list...)
	}
	return all, nil
}

func readReceipt(given string) ([]byte, error) {
	file, err := os.Open(given)
	switch {
	case errors.Is(err, os.ErrNotExist) && !strings.ContainsAny(given, `./\`):
		return []byte(given), nil
	case err != nil:
		return nil, fmt.Errorf("the receipt cannot be opened: %w", err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, longestReceipts+1))
	if err == nil && len(text) > longestReceipts {
		err = fmt.Errorf("%s is larger than %d MB", given, longestReceipts>>20)
	}
	return text, err
}
