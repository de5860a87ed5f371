package web

var homeRoutes = []Route{}
