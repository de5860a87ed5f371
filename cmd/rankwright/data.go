package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
)

// dataFlag adds --data, the folder in which a school's base lies.
func dataFlag(c *cobra.Command, dir *string) {
	c.Flags().StringVar(dir, "data", "", "the folder of the school's data")
}

// openBase opens a base that is there already. Only serve makes a new one.
func openBase(ctx context.Context, dir string) (*store.Store, *app.App, error) {
	file := filepath.Join(dir, store.FileName)
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		return nil, nil, rankwright.Faultf(rankwright.NotFound, "no_base", "check the name, or begin with: rankwright serve --data "+dir,
			"there is no school's data in the folder %s", dir)
	}
	st, err := store.Open(ctx, file)
	if err != nil {
		return nil, nil, err
	}
	return st, app.New(st, app.Options{Now: time.Now}), nil
}
