"""What Streamlit runs on every visit and after every touch."""

from tracker.ui.navigation import main

main()
