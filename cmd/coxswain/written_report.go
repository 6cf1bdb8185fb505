package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

func newReport(c *config.Config) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use: "report DIR --out FILE.html", Short: "Write a report of a record, as one HTML file or a PDF",
		Long: `Write the report of a record: course, figures with benchmarks and sources, events,
cautions, versions and hashes, in one self-contained HTML file. A name that ends
in .pdf is printed by a headless Chromium (Debian package chromium).`,
		Example: `  coxswain report records/2026-03-01T140000 --out report.html
  coxswain report records/2026-03-01T140000 --out report.pdf`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if ext := filepath.Ext(out); ext != ".html" && ext != ".pdf" {
				return fmt.Errorf("%q: where should the report go? say --out FILE.html or --out FILE.pdf", out)
			}
			r, err := loadRecord(c, args[0])
			if err != nil {
				return err
			}
			var b bytes.Buffer
			if err := paper.Report(&b, r, args[0]); err != nil {
				return err
			}
			if strings.HasSuffix(out, ".pdf") {
				return paper.PDF(b.Bytes(), out)
			}
			return record.WriteFile(out, b.Bytes())
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "file to write: .html or .pdf")
	return cmd
}

// record loads a record with the site's benchmarks.
func loadRecord(c *config.Config, dir string) (*review.Record, error) {
	defs, err := c.Figures.Definitions()
	if err != nil {
		return nil, err
	}
	return load(dir, defs)
}

// load reads a record for a reviewer, with the caution, whatever the journal says.
func load(dir string, defs []figures.Definition) (*review.Record, error) {
	r, err := review.Load(dir, defs)
	if err == nil {
		r.Caution = Caution
	}
	return r, err
}

func newExport(c *config.Config) *cobra.Command {
	var format, out string
	var schema bool
	var names []string
	about := ""
	for _, f := range review.Formats {
		names = append(names, f.Name)
		about += fmt.Sprintf("  %-8s %s\n", f.Name, f.About)
	}
	cmd := &cobra.Command{
		Use: "export DIR --format FORMAT", Short: "Take a record out: " + strings.Join(names, ", ") + ", wav",
		Long: "Take a record out, as amended:\n\n" + about +
			"  wav      the audio with a label for every event (--out: a folder)",
		Example: `  coxswain export DIR --format csv --out code.csv
  coxswain export DIR --format fhir > bundle.json
  coxswain export DIR --format wav --out labelled/
  coxswain export --schema`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if schema {
				_, err := cmd.OutOrStdout().Write(review.Schema)
				return err
			}
			if len(args) == 0 {
				return fmt.Errorf("which record? say coxswain export DIR --format %s", names[0])
			}
			r, err := loadRecord(c, args[0])
			if err != nil {
				return err
			}
			return paper.Export(cmd.OutOrStdout(), r, args[0], format, out)
		},
	}
	f := cmd.Flags()
	f.StringVar(&format, "format", "csv", strings.Join(names, ", ")+" or wav")
	f.StringVar(&out, "out", "", "file to write (default: standard output)")
	f.BoolVar(&schema, "schema", false, "print the JSON Schema of the json export")
	return cmd
}
