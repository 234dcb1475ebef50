#include "archive/sqlite.h"

#include "archive/index.h"
#include "core/errors.h"

namespace interstice::archive {

void fail_with_sqlite_error(sqlite3* db) {
  const int code = db == nullptr ? SQLITE_NOMEM : sqlite3_errcode(db);
  const char* path = db == nullptr ? nullptr : sqlite3_db_filename(db, "main");
  const std::string file = path == nullptr || *path == '\0' ? "the index" : path;
  const std::string message = db == nullptr ? "no memory" : sqlite3_errmsg(db);
  switch (code & 0xff) {
    case SQLITE_FULL:
      throw core::InputError(file, "the disk is full; make room and try again");
    case SQLITE_READONLY:
    case SQLITE_PERM:
      throw core::InputError(file, "the disk or folder is read-only");
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      throw core::InputError(file, "another program keeps the index busy; try again later");
    default:
      throw IndexUnusable(file + ": " + message);
  }
}

Statement::Statement(sqlite3* db, const std::string& sql) : db_(db) {
  if (sqlite3_prepare_v2(db, sql.c_str(), -1, &statement_, nullptr) != SQLITE_OK) fail_with_sqlite_error(db);
}

Statement::~Statement() {
  sqlite3_finalize(statement_);
}

Statement& Statement::bind(const std::string& text) {
  const int rc =
      sqlite3_bind_text64(statement_, next_++, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8);
  if (rc != SQLITE_OK) fail_with_sqlite_error(db_);
  return *this;
}

Statement& Statement::bind(std::int64_t number) {
  if (sqlite3_bind_int64(statement_, next_++, number) != SQLITE_OK) fail_with_sqlite_error(db_);
  return *this;
}

Statement& Statement::bind(double number) {
  if (sqlite3_bind_double(statement_, next_++, number) != SQLITE_OK) fail_with_sqlite_error(db_);
  return *this;
}

Statement& Statement::bind(const std::optional<double>& number) {
  if (number) return bind(*number);
  if (sqlite3_bind_null(statement_, next_++) != SQLITE_OK) fail_with_sqlite_error(db_);
  return *this;
}

bool Statement::step() {
  const int rc = sqlite3_step(statement_);
  if (rc == SQLITE_ROW) return true;
  if (rc != SQLITE_DONE) fail_with_sqlite_error(db_);
  return false;
}

void Statement::run() {
  while (step()) {
  }
  sqlite3_reset(statement_);
  next_ = 1;
}

std::string Statement::text(int column) const {
  const auto* bytes = reinterpret_cast<const char*>(sqlite3_column_text(statement_, column));
  return bytes == nullptr
             ? ""
             : std::string(bytes, static_cast<std::size_t>(sqlite3_column_bytes(statement_, column)));
}

std::int64_t Statement::integer(int column) const {
  return sqlite3_column_int64(statement_, column);
}
double Statement::real(int column) const {
  return sqlite3_column_double(statement_, column);
}

std::optional<double> Statement::optional_real(int column) const {
  if (sqlite3_column_type(statement_, column) == SQLITE_NULL) return std::nullopt;
  return real(column);
}

void execute(sqlite3* db, const std::string& sql) {
  if (sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK) fail_with_sqlite_error(db);
}

Transaction::Transaction(sqlite3* db) : db_(db) {
  execute(db_, "BEGIN IMMEDIATE");
}

Transaction::~Transaction() {
  if (open_) sqlite3_exec(db_, "ROLLBACK", nullptr, nullptr, nullptr);
}

void Transaction::commit() {
  execute(db_, "COMMIT");
  open_ = false;
}

}  // namespace interstice::archive
