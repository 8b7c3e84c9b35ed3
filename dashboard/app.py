"""The page table, in the order of the navigation. Run by: streamlit run dashboard/app.py."""

from dashboard import frame
from dashboard.frame import EVERYONE, STAFF, Page
from dashboard.screens import deliveries, progress, student, students

PAGES = (
    Page("students", "Students", STAFF, students.show),
    Page("student", "Student", STAFF, student.show),
    Page("progress", "Progress page", EVERYONE, progress.show),
    Page("deliveries", "Deliveries", STAFF, deliveries.show),
)

if __name__ == "__main__":
    frame.run(PAGES)
