// Scripts of the scoring page: plain ES modules, no build.
