"""Result rows into drawings: each function takes rows and returns one plotly figure as a plain dict."""
